import json
from fractions import Fraction

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.errors import InvalidError
from app.measures.pitches import Pitch
from app.models import Ball, Bore, Bowler, Drilling, Inner, InsertSystem, Shop
from app.services import bowler_words, bowlers, changes, depths, inners, visitors
from app.services.portable import export_lines
from tests.calculation.grips import Json
from tests.conftest import Client, not_none
from tests.services.conftest import VISITOR, Arrive, Take


def test_one_page_adds_bowler_shop_bore_and_inner(session: Session, arrives: Arrive) -> None:
    taken = visitors.take_in(session, arrives())
    inner = inners.get_inner(session, taken.id)
    assert (inner.bowler.name, inner.trimmed_in.shop.name) == ("Orla Fenn", "Bridge End Drilling")
    assert inner.trimmed_in.forward_in == Fraction(-1, 4)
    assert inner.trimmed_in.depth_in is None
    assert inner.trimmed_in.notch_deg == 180
    assert len(changes.ask_bowler_lines(inner.bowler_id).fetch(session)) >= 3


def test_a_ball_that_came_along_is_logged_as_that_shops_drilling(session: Session, arrives: Arrive) -> None:
    taken = visitors.take_in(session, arrives(ball_label="Green", circumference="26.9"))
    drilling = not_none(session.scalar(select(Drilling).where(Drilling.bore_id == taken.trimmed_in_id)))
    assert (drilling.state, not_none(session.get(Ball, drilling.ball_id)).label) == ("closed", "Green")
    assert not_none(session.get(Shop, drilling.shop_id)).name == "Bridge End Drilling"


def test_a_told_depth_becomes_that_shops_observation_with_its_source(
    session: Session, arrives: Arrive, lock: InsertSystem
) -> None:
    taken = visitors.take_in(session, arrives(depth="2 11/16", datum="collar", obtained="told"))
    shop_id = inners.get_inner(session, taken.id).trimmed_in.shop_id
    known = depths.load_shop_depths(session, [shop_id])[shop_id, lock.id]
    assert known.estimate.depth_in == pytest.approx(2.6875)
    assert known.sources == ("told by the shop",)


def test_a_proud_inner_is_never_advised_to_be_trimmed_away(session: Session, arrives: Arrive) -> None:
    taken = visitors.take_in(session, arrives(depth="2 7/8", datum="collar"))
    inner = inners.get_inner(session, taken.id)
    session.flush()
    in_bore = not_none(visitors.predict_in_our_bore(session, inner, None, None).in_bore)
    assert in_bore.flushness.centre_in > 0.1
    assert any(line.startswith("Do not trim") for line in in_bore.advice)


def test_a_difference_of_pitch_leaves_a_tilt_that_no_depth_cures(session: Session, arrives: Arrive) -> None:
    taken = visitors.take_in(session, arrives(depth="2 3/4", datum="collar"))
    inner = inners.get_inner(session, taken.id)
    in_bore = not_none(visitors.predict_in_our_bore(session, inner, Pitch(Fraction(0), Fraction(0)), None).in_bore)
    assert in_bore.tilt_left_in > 1 / 64
    assert any("No depth cures" in line for line in in_bore.advice)


def test_a_verdict_inside_the_grey_band_is_measure(session: Session, arrives: Arrive) -> None:
    taken = visitors.take_in(session, arrives(depth="2 3/4", datum="collar"))
    in_bore = not_none(visitors.predict_in_our_bore(session, inners.get_inner(session, taken.id), None, None).in_bore)
    assert in_bore.half_width_in > 1 / 64
    assert in_bore.verdict == "measure"


@pytest.mark.parametrize(
    ("typed", "field"),
    [
        ({"bowler_name": ""}, "bowler_name"), ({"shop_name": ""}, "shop_id"), ({"shop_name": "Northgate Drilling"}, "shop_name"), ({"outside": ""}, "outside"),
        ({"outside": "unknown", "thumb_hole": "1 1/2"}, "thumb_hole"),
        ({"outside": "1 5/8"}, "outside"), ({"thumb_hole": "1 1/4"}, "thumb_hole"), ({"depth": "-2"}, "depth"), ({"depth": "70"}, "depth"),
        ({"depth": "2 3/4 crown", "datum": "collar"}, "datum"), ({"circumference": "28"}, "circumference"), ({"bore_pitch": "1/4R"}, "bore_pitch"), ({"notch": "6"}, "notch"),
    ],
)  # fmt: skip
def test_bad_intake_is_refused_at_its_field_and_nothing_is_kept(
    session: Session, arrives: Arrive, typed: dict[str, str], field: str
) -> None:
    before = session.query(Bowler).count(), session.query(Shop).count()
    session.rollback()
    with pytest.raises(InvalidError) as refused:
        visitors.take_in(session, arrives(**typed))
    assert field in refused.value.fields
    session.rollback()
    assert (session.query(Bowler).count(), session.query(Shop).count()) == before


VISITOR_FIELDS = ("thumb_hole", "bore_pitch", "tilt", "notch", "depth", "datum")
GOOD = 'class="verdict good"'
IN_ITS_OWN_BORE = "trimmed in this ball</span>"


def rows_of(session: Session, table: str) -> list[Json]:
    """A table's rows as the export has them."""
    told = (json.loads(line) for line in export_lines(session.connection(), "any"))
    return [line["row"] for line in told if line.get("table") == table]


_number = iter(range(10_000))


@pytest.mark.parametrize("path", ["/visitors", "/visitors/set"])
def test_whatever_is_unknown_of_a_visitor_stays_so(
    client: Client, session: Session, lock: InsertSystem, path: str
) -> None:
    shop = session.scalars(select(Shop).where(Shop.name == "Northgate Drilling")).one().id
    lock_id = lock.id

    @given(unknown=st.sets(st.sampled_from(VISITOR_FIELDS), min_size=1))
    @settings(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
    def stays(unknown: set[str]) -> None:
        one = f"Quill {chr(97 + next(_number) % 26)}{next(_number)}"
        form = VISITOR | {"system_id": str(lock_id), "shop_id": str(shop), "bowler_name": one, "ball_serial": one}
        form |= {"shop_name": ""} | dict.fromkeys(unknown, "unknown")
        session.rollback()  # lets the client write
        files = {"photo": b""} if path.endswith("set") else None
        answer = client.post(path, {"who": "2"} | form, files=files)
        assert answer.status_code == 303
        inner = session.scalars(select(Inner).order_by(Inner.id.desc()).limit(1)).one()
        bore = not_none(session.get(Bore, inner.trimmed_in_id))
        of = session.scalars(select(Drilling).where(Drilling.bore_id == bore.id)).one()
        held: dict[str, list[object]] = {
            "thumb_hole": [inner.hole_in], "bore_pitch": [bore.forward_in, bore.right_in],
            "tilt": [inner.forward_in, inner.right_in], "notch": [bore.notch_deg], "depth": [bore.depth_in],
            "datum": [None if bore.datum == "unknown" else bore.datum],
        }  # fmt: skip
        for field, values in held.items():
            is_unknown = field in unknown or (field == "datum" and "depth" in unknown)
            assert all(v is None for v in values) == is_unknown, field
        page = client.get(f"/inners/{inner.id}").text
        # an inner sits flush where it was trimmed, however deep that is
        assert page.count(GOOD) == page.count(IN_ITS_OWN_BORE) or not unknown & {
            "bore_pitch",
            "notch",
            "depth",
            "datum",
        }
        assert page.count('class="unknown"') >= len(unknown & {"thumb_hole", "bore_pitch", "tilt", "notch"})
        own_ball = client.get(f"/inners/{inner.id}?drilling={of.id}").text
        assert GOOD not in own_ball or not unknown & {"bore_pitch", "notch"}
        told = next(r for r in rows_of(session, "bore") if r["id"] == bore.id)
        assert (told["forward_in"] is None) == ("bore_pitch" in unknown)
        assert (told["notch_deg"] is None) == ("notch" in unknown)
        assert all(told["typed"].get(f) == "unknown" for f in unknown - {"datum"})

    stays()


def test_an_empty_pitch_is_straight_and_says_that_nobody_may_have_been_asked(
    taken: Take, client: Client, session: Session
) -> None:
    inner = taken(bore_pitch="", tilt="")
    assert (inner.trimmed_in.forward_in, inner.forward_in) == (Fraction(0), Fraction(0))
    assert (inner.trimmed_in.is_pitch_unsaid, inner.is_tilt_unsaid) == (True, True)
    said = taken(bore_pitch="0", tilt="straight")
    assert (said.trimmed_in.is_pitch_unsaid, said.is_tilt_unsaid) == (False, False)
    session.commit()
    page = client.get(f"/inners/{inner.id}").text
    assert page.count('<span class="warning">straight, or never asked</span>') == 2
    assert GOOD not in page


def test_a_visitor_is_found_by_the_shop_that_made_the_inner(session: Session, arrives: Arrive, anna: Bowler) -> None:
    new = visitors.take_in(session, arrives()).bowler_id
    known = visitors.take_in(session, arrives(bowler_id=str(anna.id), shop_name="Bridge Road Drilling", bowler_name=""))
    session.commit()
    found = {row.bowler.id: not_none(row.found).reason for row in bowlers.search(session, "bridge drilling")}
    assert found == {new: "house shop bridge drilling", anna.id: "inner from bridge drilling"}
    assert known.bowler_id == anna.id
    bowler_words.rebuild_index(session)
    session.commit()
    assert {row.bowler.id for row in bowlers.search(session, "bridge drilling")} == {new, anna.id}
