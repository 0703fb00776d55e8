"""What is read of a ticket: its ball, its bowler's fit, what is in the ball now, and the shop's words."""

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.errors import NotFoundError
from app.models import Ball, BenchStop, Bowler, Drilling, Fit, now
from app.schemas.taken_back import OwnerForm
from app.services import owner_changes, ticket_moves, ticket_reads
from app.services.floor import get_floor
from tests.conftest import not_none
from tests.services.floor_hands import Floor


@pytest.fixture
def floor(session: Session, who: str) -> Floor:
    return Floor(session, who)


@pytest.fixture
def blue(session: Session, anna: Bowler) -> Ball:
    return not_none(session.scalar(select(Ball).where(Ball.serial == "QL-1042")))


def test_a_ticket_is_shown_with_its_ball_its_fits_and_what_is_in_the_ball(
    session: Session, floor: Floor, blue: Ball
) -> None:
    shown = floor.shown(floor.take_in(blue, "redrill"))
    fits = {fit.state: fit.id for fit in session.scalars(select(Fit).where(Fit.bowler_id == blue.bowler_id))}
    in_ball = session.scalars(select(Drilling.id).where(Drilling.ball_id == blue.id)).one()
    assert (shown.label, shown.serial, shown.bowler_name) == ("Blue pearl, league", "QL-1042", "Anna Johnson")
    assert (shown.fit_id, shown.draft_id, shown.current_drilling_id) == (fits["in force"], fits["draft"], in_ball)
    assert (shown.drilling_id, shown.thing_href) == (None, f"/balls/{blue.id}")


def test_what_was_plugged_or_never_cut_is_not_in_the_ball(session: Session, floor: Floor, blue: Ball) -> None:
    of = floor.take_in(blue, "redrill")
    in_ball = session.scalars(select(Drilling).where(Drilling.ball_id == blue.id)).one()
    for state, found in (("drilled", in_ball.id), ("closed", in_ball.id), ("plugged", None), ("planned", None)):
        in_ball.state = state
        assert floor.shown(of).current_drilling_id == found, state


def test_the_fits_are_those_of_the_hand_on_the_record(session: Session, floor: Floor, blue: Ball) -> None:
    of = floor.take_in(blue)
    own = {fit.state: fit for fit in session.scalars(select(Fit).where(Fit.bowler_id == blue.bowler_id))}
    shown = floor.shown(of)
    assert (shown.fit_id, shown.draft_id) == (own["in force"].id, own["draft"].id)
    for fit in own.values():
        fit.hand = "left" if fit.hand == "right" else "right"
    shown = floor.shown(of)
    assert (shown.fit_id, shown.draft_id) == (None, None)


def test_a_stop_that_was_decided_stops_no_longer(session: Session, floor: Floor, plan: Drilling, who: str) -> None:
    of = floor.take_in(f"ball:{plan.ball_id}", "new")
    assert not_none(floor.shown(of).drilling).has_stop is False
    stop = BenchStop(drilling_id=plan.id, position=1, raised_by_id=int(who))
    session.add(stop)
    assert not_none(floor.shown(of).drilling).has_stop is True
    stop.decided_at, stop.decided_by_id, stop.decision = now(), int(who), "carried_on"
    assert not_none(floor.shown(of).drilling).has_stop is False


def test_a_ticket_goes_along_with_its_ball(session: Session, floor: Floor, blue: Ball, who: str) -> None:
    of = floor.take_in(blue)
    form = OwnerForm.read({"who": who, "version": str(blue.version), "to_id": "2", "why": "sold"})
    owner_changes.move_ball(session, blue.id, form)
    assert (floor.shown(of).bowler_id, floor.shown(of).bowler_name) == (2, "Piet Olander")
    assert [each.id for each in ticket_reads.list_of_bowler(session, 2)] == [of.id]


def test_open_work_stands_by_promise_and_what_left_is_past(session: Session, floor: Floor, blue: Ball) -> None:
    open_end, late = floor.take_in(blue), floor.take_in(blue, promised="2099-05-02T10:00")
    soon, left = floor.take_in(blue, promised="2099-05-01T10:00"), floor.take_in(blue)
    ticket_moves.call_off(session, left.id, floor.why(left))
    assert [each.id for each in ticket_reads.list_of_bowler(session, blue.bowler_id)] == [soon.id, late.id, open_end.id]
    assert [each.id for each in ticket_reads.list_of_thing(session, blue)] == [
        late.id + 1,
        late.id,
        open_end.id,
        left.id,
    ]


def test_only_the_four_words_in_braces_are_replaced(session: Session, floor: Floor, blue: Ball) -> None:
    from dataclasses import replace

    words = replace(get_floor(session), usual_words="{name}: {ball} {promised} at {shop} {0} {ball.id} {who}")
    told = ticket_reads.describe_message(session, floor.shown(floor.take_in(blue)), words, "today 17:00")
    assert told == "Anna Johnson: Blue pearl, league today 17:00 at Quarry Lane Pro Shop {0} {ball.id} {who}"


def test_what_is_not_there_is_not_found(session: Session) -> None:
    with pytest.raises(NotFoundError):
        ticket_reads.get_shown(session, 99)
    with pytest.raises(NotFoundError):
        ticket_reads.get_ticket(session, 99)
