"""From the rack to the hand-over and what was heard later; every move has who and when, and can be taken back."""

import time
from datetime import UTC, date, datetime, timedelta
from fractions import Fraction

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.errors import ConflictError, InvalidError
from app.measures.wording import exact
from app.models import Ball, Bowler, Drilling, Ticket, TicketMove, now
from app.schemas.balls import RetirementForm
from app.schemas.drillings import ClosingForm, FinishForm, PluggingForm
from app.schemas.personal import ErasureForm
from app.schemas.taken_back import TakingBackForm
from app.schemas.tickets import TakeForm
from app.services import (
    balls,
    drillings,
    measurements,
    personal,
    taken_back,
    ticket_histories,
    ticket_moves,
    ticket_reads,
)
from app.services.drillings import get_drilling
from app.services.work_outs import work_out
from tests.conftest import not_none
from tests.services.floor_hands import Floor
from tests.services.test_drillings import drilled


@pytest.fixture
def floor(session: Session, who: str) -> Floor:
    return Floor(session, who)


@pytest.fixture
def blue(session: Session, anna: Bowler) -> Ball:
    return not_none(session.scalar(select(Ball).where(Ball.serial == "QL-1042")))


def moves(session: Session, of: Ticket) -> list[str]:
    query = select(TicketMove.state).where(TicketMove.ticket_id == of.id).order_by(TicketMove.id)
    return list(session.scalars(query))


def closed(session: Session, of: Drilling, who: str) -> None:
    drilled(session, of, who)
    predicted = work_out(drillings.get_current_plan(of)).predictions_in
    read = {part: exact(Fraction(round(value * 64), 64)) for part, value in predicted.items()}
    form = {"who": who, "version": str(of.version)} | read
    measurements.record_measurement(session, of.id, FinishForm.read(form))
    session.flush()
    form = {"who": who, "version": str(of.version), "reason": "as it is"}
    measurements.close_drilling(session, of.id, ClosingForm.read(form))
    session.flush()


def test_work_without_a_drilling_goes_from_the_rack_to_the_hand_over(
    session: Session, floor: Floor, blue: Ball
) -> None:
    of = floor.take_in(blue)
    assert floor.stage(floor.ready(of)) == "ready"
    assert floor.stage(floor.take(of)) == "on the bench"
    assert (of.holder_id, not_none(of.taken_at) <= now()) == (int(floor.who), True)
    assert floor.stage(floor.finish(of)) == "done"
    floor.hand_over(of, "her brother", checked_with="Anna, by telephone")
    assert (of.state, of.handed_to, of.checked_with) == ("handed over", "her brother", "Anna, by telephone")
    assert of.follow_up_on == now().astimezone().date() + timedelta(days=14)  # ASSUMED
    assert floor.stage(floor.follow_up(floor.come_to_ask(of))) == "followed up"
    assert moves(session, of) == ["taken in", "ready", "on the bench", "done", "handed over", "followed up"]
    told = [(m.stage, m.initials) for m in ticket_histories.list_moves(session, of.id)]
    assert told == [(state, "TB") for state in moves(session, of)]


def test_the_follow_up_day_is_counted_by_the_shops_own_clock(
    session: Session, floor: Floor, blue: Ball, monkeypatch: pytest.MonkeyPatch
) -> None:
    """At 22:00 UTC of 31 March it is 1 April ten hours east of it (IANA: Australia/Brisbane, no summer time)."""
    at = datetime(2026, 3, 31, 22, tzinfo=UTC)
    monkeypatch.setenv("TZ", "Australia/Brisbane")
    time.tzset()
    try:
        of = floor.done(blue)
        monkeypatch.setattr(ticket_moves, "now", lambda: at)
        floor.hand_over(of)
        assert of.follow_up_on == date(2026, 4, 15)
        own = ticket_reads.SHOWN.where(Ticket.__table__.c.id == of.id)
        asked = [
            ticket_reads.list_shown(session, own, at + timedelta(days=13, hours=hours))[0].is_to_ask
            for hours in (15, 17)
        ]
    finally:
        monkeypatch.undo()
        time.tzset()
    assert asked == [False, True]  # 13:00 and 15:00 UTC of 14 April: 23:00, and 01:00 of the 15th


def test_a_drilling_carries_its_ticket_along_and_back(session: Session, floor: Floor, plan: Drilling) -> None:
    of = floor.ready(floor.take_in(f"ball:{plan.ball_id}", "new"))
    floor.take(of)
    assert (of.state, of.holder_id, floor.stage(of)) == ("ready", int(floor.who), "planned")
    with pytest.raises(ConflictError, match="planned"):
        floor.finish(of)
    drilled(session, plan, floor.who)
    assert floor.shown(of).stage.is_to_measure
    with pytest.raises(ConflictError, match="closed"):
        floor.finish(of)
    drillings.plug(
        session, plan.id, PluggingForm.read({"who": floor.who, "version": str(plan.version), "reason": "wrong ball"})
    )
    assert floor.stage(of) == "ready"
    assert floor.shown(of).drilling_id is None


def test_a_closed_drilling_is_done_and_can_only_be_handed_over(session: Session, floor: Floor, plan: Drilling) -> None:
    of = floor.ready(floor.take_in(f"ball:{plan.ball_id}", "new"))
    closed(session, get_drilling(session, plan.id), floor.who)
    assert floor.stage(of) == "done"
    with pytest.raises(ConflictError, match="drilling is closed"):
        floor.put_back(of)
    assert floor.stage(floor.hand_over(of)) == "handed over"
    stages = [move.stage for move in ticket_histories.list_moves(session, of.id)]
    assert stages == ["planned", "taken in", "ready", "on the bench", "done", "handed over"]
    ticket_moves.take_back(session, of.id, floor.why(of, "it was another ball"))
    assert (of.state, of.handed_to, of.handed_over_at, of.follow_up_on) == ("ready", "", None, None)
    assert floor.stage(of) == "done"
    stages = [move.stage for move in ticket_histories.list_moves(session, of.id)]
    assert stages[-2:] == ["handed over", "done"]


def test_a_plan_called_off_leaves_its_ticket_to_be_planned(session: Session, floor: Floor, plan: Drilling) -> None:
    of = floor.take_in(f"ball:{plan.ball_id}", "new")
    why = TakingBackForm.read({"who": floor.who, "version": str(plan.version), "why": "another layout"})
    taken_back.call_off(session, plan.id, why)
    assert floor.stage(of) == "taken in"


def test_two_who_take_one_ticket_are_told_apart(floor: Floor, blue: Ball) -> None:
    of = floor.ready(floor.take_in(blue))
    seen = floor.signed(of)
    floor.take(of)
    with pytest.raises(ConflictError, match=r"Tadeo Birk changed .*: it is on the bench, and TB has it"):
        ticket_moves.take(floor.session, of.id, TakeForm.read(seen))


def test_putting_back_goes_one_state_back(session: Session, floor: Floor, blue: Ball) -> None:
    of = floor.done(blue)
    assert floor.stage(floor.put_back(of)) == "on the bench"
    assert floor.stage(floor.put_back(of)) == "ready"
    assert (of.holder_id, of.taken_at) == (None, None)
    assert moves(session, of)[-2:] == ["on the bench", "ready"]


def test_nothing_is_handed_over_that_is_not_done(floor: Floor, blue: Ball) -> None:
    with pytest.raises(ConflictError, match="taken in"):
        floor.hand_over(floor.take_in(blue))
    with pytest.raises(ConflictError):
        floor.follow_up(floor.done(blue))


def test_fine_is_heard_from_the_day_on_that_it_is_asked_after_and_not_fine_at_once(floor: Floor, blue: Ball) -> None:
    of = floor.hand_over(floor.done(blue))
    today = not_none(of.handed_over_at).astimezone().date()
    of.follow_up_on = today + timedelta(days=1)
    assert floor.shown(of).is_to_ask is False
    with pytest.raises(ConflictError, match=str(of.follow_up_on)):
        floor.follow_up(of)
    assert (of.state, of.outcome) == ("handed over", "")
    of.follow_up_on = today
    assert floor.shown(of).is_to_ask is True
    early = floor.hand_over(floor.done(blue))
    assert floor.follow_up(early, "not fine", redo_reason="tight").redo_of_id == early.id
    assert floor.follow_up(of).outcome == "fine"


def test_what_is_not_fine_is_taken_in_again(session: Session, floor: Floor, blue: Ball) -> None:
    of = floor.hand_over(floor.done(blue))
    with pytest.raises(InvalidError):
        floor.follow_up(of, "not fine")
    again = floor.follow_up(of, "not fine", redo_reason="tight", outcome_words="after an hour")
    assert (of.state, of.outcome, of.outcome_words) == ("followed up", "not fine", "after an hour")
    assert (again.redo_of_id, again.redo_reason, again.ball_id, again.state) == (of.id, "tight", blue.id, "taken in")
    assert (again.what, again.symptom) == ("sand", "after an hour")


def test_a_drilling_that_is_not_fine_is_looked_at_first(session: Session, floor: Floor, plan: Drilling) -> None:
    of = floor.ready(floor.take_in(f"ball:{plan.ball_id}", "new"))
    closed(session, get_drilling(session, plan.id), floor.who)
    again = floor.follow_up(floor.hand_over(of), "not fine", redo_reason="span")
    assert (again.what, again.redo_reason, again.drilling_id, again.redo_of_id) == ("check", "span", None, of.id)


def test_what_was_not_fine_by_mistake_leaves_no_second_ticket(session: Session, floor: Floor, blue: Ball) -> None:
    of = floor.hand_over(floor.done(blue))
    again = floor.follow_up(of, "not fine", redo_reason="tight")
    ticket_moves.take_back(session, of.id, floor.why(of, "another bowler"))
    assert (of.state, again.state, again.called_off_reason) == ("handed over", "called off", "another bowler")
    third = floor.follow_up(of, "not fine", redo_reason="tight")
    floor.ready(third)
    with pytest.raises(ConflictError, match=f"Ticket {third.id}"):
        ticket_moves.take_back(session, of.id, floor.why(of))
    ticket_moves.call_off(session, third.id, floor.why(third))
    ticket_moves.take_back(session, of.id, floor.why(of))
    assert (of.state, floor.follow_up(floor.come_to_ask(of)).outcome) == ("handed over", "fine")


def test_a_ball_with_open_work_is_not_retired(session: Session, floor: Floor, blue: Ball) -> None:
    of = floor.take_in(blue)
    form = RetirementForm.read({"who": floor.who, "version": str(blue.version), "why": "sold"})
    with pytest.raises(ConflictError, match=f"Ticket {of.id}"):
        balls.retire(session, blue.id, form)
    ticket_moves.call_off(session, of.id, floor.why(of))
    assert balls.retire(session, blue.id, form).retired_at is not None


def test_a_ball_out_of_use_is_not_taken_in_again(session: Session, floor: Floor, blue: Ball) -> None:
    of = floor.hand_over(floor.done(blue))
    blue.retired_at = now()
    with pytest.raises(ConflictError, match="out of use"):
        floor.follow_up(of, "not fine", redo_reason="tight")
    assert floor.follow_up(floor.come_to_ask(of)).state == "followed up"


def test_tagged_and_racked_is_not_taken_back_over_a_drilling(session: Session, floor: Floor, plan: Drilling) -> None:
    of = floor.take(floor.ready(floor.take_in(not_none(session.get(Ball, plan.ball_id)), "new")))
    with pytest.raises(ConflictError, match="planned"):
        ticket_moves.take_back(session, of.id, floor.why(of))
    of = floor.put_back(of)
    assert (of.state, of.holder_id) == ("ready", None)


def test_a_move_is_taken_back_by_its_contrary_again_and_again(session: Session, floor: Floor, blue: Ball) -> None:
    of = floor.follow_up(floor.come_to_ask(floor.hand_over(floor.done(blue))))
    ticket_moves.take_back(session, of.id, floor.why(of))
    assert (of.state, of.outcome) == ("handed over", "")
    ticket_moves.take_back(session, of.id, floor.why(of))
    assert (of.state, floor.stage(of)) == ("done", "done")
    floor.hand_over(of, "Anna")
    ticket_moves.take_back(session, of.id, floor.why(of))
    assert of.state == "done"
    with pytest.raises(ConflictError):
        ticket_moves.take_back(session, of.id, floor.why(of))


def test_not_fine_is_not_taken_back_while_its_work_is_done_again(session: Session, floor: Floor, blue: Ball) -> None:
    of = floor.hand_over(floor.done(blue))
    again = floor.ready(floor.follow_up(of, "not fine", redo_reason="tight"))
    with pytest.raises(ConflictError, match=f"icket {again.id} "):
        ticket_moves.take_back(session, of.id, floor.why(of))
    ticket_moves.call_off(session, again.id, floor.why(again))
    assert ticket_moves.take_back(session, of.id, floor.why(of)).state == "handed over"


def test_work_is_called_off_and_taken_up_where_it_was(session: Session, floor: Floor, blue: Ball) -> None:
    of = floor.take(floor.ready(floor.take_in(blue)))
    ticket_moves.call_off(session, of.id, floor.why(of, "she sold it"))
    assert (of.state, of.called_off_reason, of.holder_id) == ("called off", "she sold it", None)
    with pytest.raises(ConflictError):
        ticket_moves.call_off(session, of.id, floor.why(of))
    ticket_moves.take_up_again(session, of.id, floor.why(of, "not sold"))
    assert (of.state, of.called_off_reason) == ("on the bench", "")
    with pytest.raises(ConflictError):
        ticket_moves.take_up_again(session, of.id, floor.why(of))


def test_glue_cures_on_while_its_work_is_called_off(session: Session, floor: Floor, blue: Ball) -> None:
    of = floor.take(floor.ready(floor.take_in(blue)))
    curing = floor.wait(of, "glue", minutes="90")
    until = curing.until
    ticket_moves.call_off(session, of.id, floor.why(of))
    assert floor.stage(of) == "called off"
    ticket_moves.take_up_again(session, of.id, floor.why(of))
    wait = not_none(floor.shown(of).stage.wait)
    assert (floor.stage(of), wait.id, wait.until) == ("waiting", curing.id, until)


def test_the_glue_of_work_done_again_cures_on_while_not_fine_is_taken_back(
    session: Session, floor: Floor, blue: Ball
) -> None:
    of = floor.hand_over(floor.done(blue))
    again = floor.follow_up(of, "not fine", redo_reason="tight")
    curing = floor.wait(again, "glue", minutes="90")
    ticket_moves.take_back(session, of.id, floor.why(of))
    ticket_moves.take_up_again(session, again.id, floor.why(again))
    assert not_none(floor.shown(again).stage.wait).id == curing.id


def test_nobody_answers_what_work_called_off_waited_for(session: Session, floor: Floor, blue: Ball) -> None:
    of = floor.take_in(blue)
    asked = floor.wait(of, "question", why="Which grit?")
    ticket_moves.call_off(session, of.id, floor.why(of))
    with pytest.raises(ConflictError, match="called off"):
        floor.end_wait(asked, "1000")


def test_a_second_drilling_ticket_bars_taking_up_the_first(session: Session, floor: Floor, anna: Bowler) -> None:
    of = floor.take_in("new", "new", bowler_id=str(anna.id), ball_label="Red")
    ticket_moves.call_off(session, of.id, floor.why(of))
    floor.take_in(f"ball:{of.ball_id}", "new")
    with pytest.raises(InvalidError):
        ticket_moves.take_up_again(session, of.id, floor.why(of))


def erase(session: Session, of: Bowler, who: str) -> None:
    form = ErasureForm.read({"who": who, "version": str(of.version), "name": of.name})
    personal.erase(session, of.id, form)
    session.flush()
    session.expire_all()


def test_nobody_is_erased_whose_ball_is_here_and_nothing_said_stays_afterwards(
    session: Session, floor: Floor, blue: Ball, anna: Bowler
) -> None:
    of = floor.done(blue, words="Anna says: too tight", symptom="a blister", price="20")
    with pytest.raises(ConflictError, match=f"Ticket {of.id} is open"):
        erase(session, anna, floor.who)
    floor.hand_over(of, "Anna herself", checked_with="Anna")
    erase(session, anna, floor.who)
    assert (of.words, of.symptom, of.price, of.handed_to, of.checked_with) == ("", "", "", "", "")
    assert moves(session, of) == ["taken in", "ready", "on the bench", "done", "handed over"]  # the shop's own times


def test_every_stage_keeps_its_name_who_and_when_after_the_bowler_is_erased(
    session: Session, floor: Floor, plan: Drilling, anna: Bowler
) -> None:
    of = floor.ready(floor.take_in(f"ball:{plan.ball_id}", "new"))
    off = TakingBackForm.read({"who": floor.who, "version": str(plan.version), "why": "another day"})
    taken_back.call_off(session, plan.id, off)
    session.flush()
    on = TakingBackForm.read({"who": floor.who, "version": str(plan.version), "why": "today"})
    taken_back.restore_plan(session, plan.id, on)
    closed(session, get_drilling(session, plan.id), floor.who)
    floor.hand_over(of)
    before = [move[:3] for move in ticket_histories.list_moves(session, of.id)]
    erase(session, anna, floor.who)
    after = [move[:3] for move in ticket_histories.list_moves(session, of.id)]
    assert [stage for _, stage, _ in after] == ["planned", "taken in", "ready", "on the bench", "done", "handed over"]
    assert set(after) <= set(before)


def test_a_ball_with_a_ticket_was_no_mistake(session: Session, floor: Floor, anna: Bowler) -> None:
    of = floor.take_in("new", "sand", bowler_id=str(anna.id), ball_label="Red")
    ball = not_none(session.get(Ball, of.ball_id))
    why = TakingBackForm.read({"who": floor.who, "version": str(ball.version), "why": "typed twice"})
    with pytest.raises(ConflictError, match="1 ticket would be lost"):
        taken_back.remove_ball(session, ball.id, why)
