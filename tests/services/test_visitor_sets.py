"""The rows above the open one of a visitors' set: what was taken in, and what is still to be finished."""

from sqlalchemy.orm import Session

from app.schemas.inners import VisitorForm
from app.services import inners, visitor_sets
from tests.services.conftest import Arrive


def test_a_row_taken_in_stands_above_with_what_was_typed_to_be_copied_down(
    session: Session, who: str, arrives: Arrive
) -> None:
    form: VisitorForm = arrives(ball_label="Green", ball_serial="G-1", depth="2 11/16 collar", obtained="read_off_ball")
    taken = visitor_sets.take_in(session, form, None)
    kept = visitor_sets.keep_row(session, int(who), {"bowler_name": "Nils Abend", "shop_id": "2", "outside": "9"}, None)
    session.flush()
    above, unfinished = visitor_sets.list_sheet(session, [inners.get_inner(session, taken.id)], [kept])
    assert (above.href, above.is_open) == (f"/inners/{taken.id}", False)
    asked = ("bowler_name", "ball_label", "ball_serial", "outside", "bore_pitch", "depth", "datum", "hand")
    told = ["Orla Fenn", "Green", "G-1", "1 1/4", "1/4 reverse, 0", "2 11/16 collar", "collar", "right"]
    assert [above.typed[name] for name in asked] == told
    assert (above.typed["shop_id"], above.shown["shop_id"]) == (str(taken.trimmed_in.shop_id), "Bridge End Drilling")
    assert (unfinished.href, unfinished.is_open) == (f"/visitors/set?row={kept.id}", True)
    assert (unfinished.shown, unfinished.typed["shop_id"]) == ({"bowler_name": "Nils Abend", "outside": "9"}, "2")
