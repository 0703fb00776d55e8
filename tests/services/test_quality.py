"""Figures of quality on a world counted by hand; the intervals themselves are held against scipy beside the formulas."""

import time
from datetime import datetime, timedelta
from fractions import Fraction

import pytest
from scipy.stats import binomtest
from sqlalchemy import delete, update
from sqlalchemy.orm import Session

from app.models import BenchStop, Drilling, DrillingStep, Ticket, TicketMove, TicketWait, now
from app.services import drillings, quality
from app.services.quality import Group, Share, Times

pytestmark = pytest.mark.both
DAY, HOUR = timedelta(days=1), timedelta(hours=1)


@pytest.fixture
def at(session: Session) -> datetime:
    """A moment, with every drilling of the demo shop out of sight."""
    session.execute(update(Drilling).values(closed_at=None, drilled_at=None, verdict=""))
    return now()


def drilled(session: Session, at: datetime, verdict: str = "within", bit: str = "") -> Drilling:
    """A drilling that was planned, begun, drilled and closed in the four hours before then."""
    like = drillings.get_drilling(session, 1)
    made = Drilling(ball_id=1, fit_id=1, system_id=1, shop_id=1, state="closed", plan=like.plan, tolerance_in=Fraction(1, 64), tolerance_source="x", staff_id=1, verdict=verdict, planned_at=at - 4 * HOUR, drilled_at=at - HOUR, closed_at=at)  # fmt: skip
    session.add(made)
    session.flush()
    step = DrillingStep(drilling_id=made.id, position=1, action="bore", hole="thumb", words="Bore", numbers=[], is_cut=True, ticked_at=at - 3 * HOUR, staff_id=1, met_bit=bit)  # fmt: skip
    session.add(step)
    session.flush()
    return made


def ticket(session: Session, at: datetime, **more: object) -> Ticket:
    values = {"ball_id": 1, "what": "new", "state": "handed over", "staff_id": 1, "created_at": at - DAY} | more
    made = Ticket(**values)
    session.add(made)
    session.flush()
    return made


def shares(session: Session, at: datetime) -> dict[str, tuple[int, int]]:
    found: list[Group] = quality.list_groups(session, at, at.date())
    return {share.words: (share.successes, share.n) for group in found for share in group.shares}


def times(session: Session, at: datetime) -> dict[str, tuple[float, ...]]:
    return {of.words: of.minutes for group in quality.list_groups(session, at, at.date()) for of in group.times}


def test_right_first_time_counts_what_was_asked_about(session: Session, at: datetime) -> None:
    asked = {"handed_over_at": at - 20 * DAY, "follow_up_on": (at - 6 * DAY).date()}
    for outcome in ("fine", "fine", "not fine", ""):
        ticket(session, at, drilling_id=drilled(session, at - 20 * DAY).id, outcome=outcome, **asked)
    redone = ticket(session, at, drilling_id=drilled(session, at - 20 * DAY).id, outcome="fine", **asked)
    ticket(session, at, state="taken in", redo_of_id=redone.id, redo_reason="tight")
    mistaken = ticket(session, at, drilling_id=drilled(session, at - 20 * DAY).id, **asked)
    ticket(session, at, state="called off", redo_of_id=mistaken.id, redo_reason="tight")
    ticket(session, at, outcome="fine", **asked)  # sanded, not drilled
    soon = asked | {"follow_up_on": (at + DAY).date()}
    ticket(session, at, drilling_id=drilled(session, at - DAY).id, **soon)
    ticket(session, at, outcome="not fine", **soon)  # heard before the day, on which a fine would be heard too
    old = asked | {"handed_over_at": at - 400 * DAY}
    ticket(session, at, drilling_id=drilled(session, at - 400 * DAY).id, outcome="not fine", **old)
    found = shares(session, at)
    assert found["right first time"] == (4, 6)  # two fine, one not answered, one whose redo was called off
    assert found["fine, of those we asked about"] == (4, 5)
    assert found["too tight"] == (1, 1)


def test_a_promise_is_kept_by_what_the_drilling_or_the_move_says(session: Session, at: datetime) -> None:
    promised = {"promised_at": at - 2 * DAY}
    ticket(session, at, drilling_id=drilled(session, at - 2 * DAY).id, **promised)  # to the second
    ticket(session, at, drilling_id=drilled(session, at - DAY).id, **promised)  # a day late
    for days in (3, 1):
        sanded = ticket(session, at, what="sand", **promised)
        session.add(TicketMove(ticket_id=sanded.id, state="done", staff_id=1, at=at - days * DAY))
    ticket(session, at, state="taken in", **promised)  # still lies there
    ticket(session, at, state="called off", **promised)
    ticket(session, at, state="taken in", promised_at=at + DAY)
    session.flush()
    assert shares(session, at)["done by the promised time"] == (2, 5)


def test_a_promise_counts_by_when_the_work_was_done_for_good(session: Session, at: datetime) -> None:
    """Promised two days ago; the hours are those of each move before then."""
    histories: dict[str, tuple[tuple[str, int], ...]] = {
        "handed over, and that taken back": (("done", 60), ("handed over", 50), ("done", 1)),
        "called off when it was done, and taken up": (("done", 60), ("called off", 50), ("done", 1)),
        "put back": (("done", 60), ("on the bench", 50)),
        "put back and done too late": (("done", 60), ("on the bench", 50), ("done", 1)),
        "put back and done again in time": (("done", 60), ("on the bench", 55), ("done", 50)),
    }
    kept = {}
    for words, moves in histories.items():
        sanded = ticket(session, at, what="sand", state=moves[-1][0], promised_at=at - 2 * DAY)
        for state, hours in (("taken in", 90), ("ready", 80), ("on the bench", 70), *moves):
            session.add(TicketMove(ticket_id=sanded.id, state=state, staff_id=1, at=at - hours * HOUR))
            session.flush()
        kept[words] = shares(session, at)["done by the promised time"]
        session.execute(delete(TicketMove).where(TicketMove.ticket_id == sanded.id))
        session.delete(sanded)
        session.flush()
    assert list(kept.values()) == [(1, 1), (1, 1), (0, 1), (0, 1), (1, 1)]


def test_verdicts_by_hardware_bit_and_quarter(session: Session) -> None:
    session.execute(update(Drilling).values(closed_at=None, verdict=""))
    at = datetime.fromisoformat("2026-05-20T12:00:00+00:00")
    for month, verdict, bit in (
        (2, "within", "no. 2"),
        (3, "long", "no. 2"),
        (4, "within", "no. 3"),
        (5, "within", ""),
    ):
        drilled(session, at.replace(month=month), verdict, bit)
    drilled(session, at.replace(month=4), "")
    drilled(session, at.replace(year=2025, month=4), "mixed")
    found = shares(session, at)
    assert {words: found[words] for words in found if "2026" in words or "bit" in words} == {
        "bit no. 2": (1, 2),
        "bit no. 3": (1, 1),
        "2026, quarter 1": (1, 2),
        "2026, quarter 2": (2, 2),
    }
    assert (found["every closed drilling"], found["Twist lock, floor seated"]) == ((3, 4), (3, 4))


def test_a_quarter_ends_by_the_shops_own_clock(session: Session, monkeypatch: pytest.MonkeyPatch) -> None:
    """At 22:00 UTC of 31 March it is April at ten hours east of it (IANA: Australia/Brisbane, no summer time)."""
    session.execute(update(Drilling).values(closed_at=None, verdict=""))
    drilled(session, datetime.fromisoformat("2026-03-31T22:00:00+00:00"))
    monkeypatch.setenv("TZ", "Australia/Brisbane")
    time.tzset()
    try:
        found = shares(session, datetime.fromisoformat("2026-05-20T12:00:00+00:00"))
    finally:
        monkeypatch.undo()
        time.tzset()
    assert [words for words in found if "quarter" in words] == ["2026, quarter 2"]


def test_glue_waits_until_it_has_cured_however_late_the_ball_is_taken_up(session: Session, at: datetime) -> None:
    own = ticket(session, at)
    for until, ended in ((2, 1), (3, 5)):  # hours before: cured and taken up later; gone on before with a reason
        session.add(TicketWait(ticket_id=own.id, kind="glue", raised_by_id=1, raised_at=at - 6 * HOUR, until=at - until * HOUR, ended_at=at - ended * HOUR))  # fmt: skip
    session.add(TicketWait(ticket_id=own.id, kind="glue", raised_by_id=1, raised_at=at - HOUR, until=at + HOUR))
    session.flush()
    assert times(session, at)["glue or resin that cures"] == (60, 240)


def test_stops_are_counted_by_ball_however_many_it_had(session: Session, at: datetime) -> None:
    stopped, _ = drilled(session, at), drilled(session, at)
    for position in (1, 2):
        session.add(BenchStop(drilling_id=stopped.id, position=position, raised_by_id=1))
    session.flush()
    assert shares(session, at)["drilled with a stop at the bench"] == (1, 2)


@pytest.mark.parametrize(
    ("later", "done"),
    [
        ((("handed over", 0), ("ready", -1), ("handed over", -4)), (60, 180)),  # taken back: done again, not ready
        ((("handed over", 0), ("followed up", -1), ("handed over", -2), ("ready", -3), ("handed over", -5)), (60, 120)),
        ((("called off", 0), ("ready", -2), ("handed over", -3)), (60, 60)),
    ],
)
def test_what_is_taken_back_counts_as_the_stage_it_came_from(
    session: Session, at: datetime, later: tuple[tuple[str, int], ...], done: tuple[int, ...]
) -> None:
    own = ticket(session, at, drilling_id=drilled(session, at - HOUR).id, created_at=at - 8 * HOUR)
    moves = (("taken in", 7), ("ready", 6), *later)
    session.add_all(
        TicketMove(ticket_id=own.id, state=state, staff_id=1, at=at - hours * HOUR) for state, hours in moves
    )
    session.flush()
    found = times(session, at)
    assert (found["done"], found["ready"]) == (done, (60,))


def test_times_run_from_one_stage_to_the_next(session: Session, at: datetime) -> None:
    of = drilled(session, at)  # planned 4 h, begun 3 h, closed 0 h before
    own = ticket(session, at, drilling_id=of.id, created_at=at - 6 * HOUR)
    moves = (("taken in", 6), ("ready", 5), ("handed over", -1))
    session.add_all(
        TicketMove(ticket_id=own.id, state=state, staff_id=1, at=at - hours * HOUR) for state, hours in moves
    )
    session.add(
        TicketWait(ticket_id=own.id, kind="glue", raised_by_id=1, raised_at=at - 3 * HOUR, until=at - 2.5 * HOUR)
    )
    session.add(
        TicketWait(ticket_id=own.id, kind="part", raised_by_id=1, raised_at=at - 3 * HOUR, ended_at=at - 2 * HOUR)
    )
    session.flush()
    found = times(session, at)
    assert {stage: found[stage] for stage in ("taken in", "ready", "planned", "on the bench", "done")} == {
        "taken in": (60,), "ready": (60,), "planned": (60,), "on the bench": (180,), "done": (60,),
    }  # fmt: skip
    assert (found["glue or resin that cures"], found["a part"], found["an answer"]) == ((30,), (60,), ())


def test_nothing_but_n_is_told_of_fewer_than_twenty() -> None:
    assert [Share("x", n, n // 2).is_shown for n in (0, 19, 20)] == [False, False, True]
    assert [Times("x", tuple(range(n))).is_shown for n in (0, 19, 20)] == [False, False, True]
    known = binomtest(18, 20).proportion_ci(method="exact")
    assert Share("x", 20, 18).interval == pytest.approx((known.low, known.high), abs=1e-9)


def test_a_median_lies_between_two_of_its_times() -> None:
    """Of 20 times the 6th and the 15th, as the tables of the sign test have it (from memory; scipy beside the ranks)."""
    of = Times("x", tuple(float(minutes) for minutes in range(1, 21)))
    assert (of.middle, of.interval) == (10.5, (6.0, 15.0))


def test_an_empty_shop_has_figures_of_nothing(session: Session, at: datetime) -> None:
    session.execute(delete(BenchStop))
    assert set(shares(session, at).values()) == {(0, 0)}
    assert set(times(session, at).values()) == {()}
