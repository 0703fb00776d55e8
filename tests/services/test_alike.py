"""Which balls share a bit, a collar's setting, a lot or a week with one of them; counted by hand."""

from datetime import UTC, datetime, timedelta

import pytest
from sqlalchemy import update
from sqlalchemy.orm import Session

from app.closed_sets import AlikeBy
from app.errors import NotFoundError
from app.models import Bit, BitEvent, Drilling, PartMovement, Trouble
from app.schemas.parts import PartForm, UndoingForm
from app.services import alike, parts, shelf
from tests.conftest import not_none
from tests.services.test_quality import drilled

pytestmark = pytest.mark.both
AT = datetime(2026, 3, 11, 12, tzinfo=UTC)  # a Wednesday
DAY, HOUR = timedelta(days=1), timedelta(hours=1)


def shared(session: Session, of: Drilling, by: AlikeBy) -> set[int]:
    return {row.drilling.id for row in alike.list_alike(session, of.id, by)[1].rows}


def test_the_same_bit_whenever_it_bored(session: Session) -> None:
    first, second, _ = (
        drilled(session, AT + n * 30 * DAY, bit=bit) for n, bit in enumerate(("no. 2", "no. 2", "no. 3"))
    )
    assert shared(session, first, "bit") == {first.id, second.id}
    unknown = drilled(session, AT)
    assert alike.list_alike(session, unknown.id, "bit")[1] == alike.Alike(
        "", [], "Nobody wrote down which bit bored this ball."
    )


def test_a_collars_setting_lasts_until_it_is_set_again_or_its_bit_replaced(session: Session) -> None:
    bit = Bit(label="no. 2")
    session.add(bit)
    session.flush()
    events = ((1, "collar_set"), (3, "sharpened"), (5, "collar_set"), (7, "replaced"))
    session.add_all(BitEvent(bit_id=bit.id, what=what, staff_id=1, at=AT + day * DAY) for day, what in events)
    of = {day: drilled(session, AT + day * DAY, bit="no. 2") for day in (0, 2, 4, 6, 8)}
    drilled(session, AT + 2 * DAY, bit="no. 3")
    for days in ((0,), (2, 4), (6,), (8,)):
        for day in days:
            assert shared(session, of[day], "collar") == {of[known].id for known in days}
    at_it = drilled(session, AT + 5 * DAY + 3 * HOUR, bit="no. 2")  # bored three hours before it was closed
    for day, known in ((2, {2, 4}), (6, {6, at_it.id})):
        assert shared(session, of[day], "collar") == {of[n].id if n in of else n for n in known}
    assert shared(session, at_it, "collar") == {of[6].id, at_it.id}
    assert "before anybody wrote down its setting" in alike.list_alike(session, of[0].id, "collar")[1].shared


def test_a_lot_as_far_as_its_use_was_not_taken_back(session: Session, who: str) -> None:
    form = {"who": who, "kind": "inner", "system_id": "1", "label": "Inner", "size": "1 1/4"}
    lots = [parts.add(session, PartForm.read(form | {"lot": lot})) for lot in ("A7", "B1")]
    of = [drilled(session, AT + n * DAY) for n in range(4)]
    uses = [
        shelf.post(session, int(who), lots[lot], PartMovement(count=-1, cause="use", drilling_id=of[number].id))
        for number, lot in ((0, 0), (1, 0), (2, 1))
    ]
    assert shared(session, of[0], "lot") == {of[0].id, of[1].id}
    assert "lot A7" in alike.list_alike(session, of[0].id, "lot")[1].shared
    taken = UndoingForm.read({"who": who, "why": "it was B1", "instead_id": str(lots[1].id)})
    shelf.undo(session, uses[1].id, taken)
    assert [shared(session, of[n], "lot") for n in (0, 1)] == [{of[0].id}, {of[1].id, of[2].id}]
    assert alike.list_alike(session, of[3].id, "lot")[1].missing.startswith("No part was counted")


def test_a_week_runs_from_monday_in_the_machines_own_time(session: Session) -> None:
    """ISO 8601: week 11 of 2026 has the days 9 to 15 March, as its calendar says."""
    session.execute(update(Drilling).values(drilled_at=None))
    local = datetime(2026, 3, 9).astimezone() + timedelta(hours=1)  # an hour is between drilling and closing
    of = {
        n: drilled(session, local + timedelta(minutes=minutes))
        for n, minutes in enumerate((-1, 0, 7 * 1440 - 1, 7 * 1440))
    }
    found = alike.list_alike(session, of[1].id, "week")[1]
    assert ({row.drilling.id for row in found.rows}, found.shared) == (
        {of[1].id, of[2].id},
        "drilled in week 11 of 2026",
    )
    not_none(session.get(Drilling, of[1].id)).drilled_at = None
    session.flush()
    assert alike.list_alike(session, of[1].id, "week")[1].missing == "This ball is not drilled yet."


def test_each_ball_is_told_with_depth_measures_and_troubles(session: Session) -> None:
    session.add(Trouble(system_id=1, drilling_id=1, what="stuck", staff_id=1))
    session.flush()
    rows = alike.list_alike(session, 1, "week")[1].rows
    own = next(row for row in rows if row.drilling.id == 1)
    assert (own.troubles, own.depth_in, not_none(own.compared).verdict) == (
        1,
        not_none(own.drilling.bore).depth_in,
        "within",
    )
    with pytest.raises(NotFoundError):
        alike.list_alike(session, 999, "week")
