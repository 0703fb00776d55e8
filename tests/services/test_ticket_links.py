"""A plan is for the ticket that waits for it; of several the oldest."""

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.models import Ball, Bowler, Change, Drilling, Fit
from app.schemas.drillings import PlanForm
from app.services import plans, ticket_moves, ticket_reads
from tests.conftest import Client, not_none
from tests.services.floor_hands import Floor


@pytest.fixture
def floor(session: Session, who: str) -> Floor:
    return Floor(session, who)


def planned(session: Session, ball_id: int | None, who: str) -> Drilling:
    ball = not_none(session.get(Ball, ball_id))
    fit = not_none(session.scalar(select(Fit).where(Fit.bowler_id == ball.bowler_id, Fit.state == "in force")))
    form = PlanForm.read({"who": who, "fit_id": str(fit.id), "system_id": str(fit.system_id or ""), "reason": "tried"})
    made = plans.plan_drilling(session, ball, form)
    session.flush()
    return made


def test_a_plan_is_for_the_oldest_ticket_that_waits_for_one(
    session: Session, floor: Floor, anna: Bowler, who: str
) -> None:
    first = floor.take_in("new", "new", bowler_id=str(anna.id), ball_label="Red")
    thing = f"ball:{first.ball_id}"
    sanded, thumb = floor.take_in(thing, "sand"), floor.take_in(thing, "thumb")
    made = planned(session, first.ball_id, who)
    assert (first.drilling_id, sanded.drilling_id, thumb.drilling_id) == (made.id, None, None)
    assert floor.stage(first) == "planned"
    line = session.scalars(select(Change).where(Change.noun == "ticket", Change.field == "drilling_id")).one()
    assert (line.noun_id, line.new, line.bowler_id) == (first.id, str(made.id), anna.id)


def test_a_plan_is_for_no_ticket_whose_work_is_done(session: Session, floor: Floor, anna: Bowler, who: str) -> None:
    of = floor.done("new", what="thumb", bowler_id=str(anna.id), ball_label="Red")
    planned(session, of.ball_id, who)
    assert (of.drilling_id, floor.stage(of)) == (None, "done")


@pytest.mark.parametrize("moved", [(), ("ready",), ("ready", "take")])
def test_a_plan_is_for_a_ticket_in_any_state_before_done(
    session: Session, floor: Floor, anna: Bowler, who: str, moved: tuple[str, ...]
) -> None:
    of = floor.take_in("new", "thumb", bowler_id=str(anna.id), ball_label="Red")
    for act in moved:
        getattr(floor, act)(of)
    made = planned(session, of.ball_id, who)
    assert of.drilling_id == made.id


def test_a_drilling_under_way_is_given_to_one_ticket_alone(
    session: Session, floor: Floor, anna: Bowler, who: str
) -> None:
    first = floor.take_in("new", "thumb", bowler_id=str(anna.id), ball_label="Red")
    made = planned(session, first.ball_id, who)
    second = floor.take_in(f"ball:{first.ball_id}", "thumb")
    assert (first.drilling_id, second.drilling_id) == (made.id, None)


def test_a_ticket_whose_drilling_was_called_off_gets_the_next(
    session: Session, floor: Floor, anna: Bowler, who: str
) -> None:
    of = floor.take_in("new", "new", bowler_id=str(anna.id), ball_label="Red")
    off = planned(session, of.ball_id, who)
    off.state = "not drilled"
    session.flush()
    made = planned(session, of.ball_id, who)
    assert of.drilling_id == made.id


def test_work_taken_up_again_gets_the_drilling_that_is_under_way_meanwhile(
    session: Session, floor: Floor, anna: Bowler, who: str
) -> None:
    of = floor.take_in("new", "new", bowler_id=str(anna.id), ball_label="Red")
    ticket_moves.call_off(session, of.id, floor.why(of))
    made = planned(session, of.ball_id, who)
    assert not of.drilling_id
    ticket_moves.take_up_again(session, of.id, floor.why(of))
    assert (of.drilling_id, floor.stage(of)) == (made.id, "planned")


def test_work_taken_up_again_leaves_another_ticket_its_drilling(
    session: Session, floor: Floor, anna: Bowler, who: str
) -> None:
    of = floor.take_in("new", "thumb", bowler_id=str(anna.id), ball_label="Red")
    made = planned(session, of.ball_id, who)
    ticket_moves.call_off(session, of.id, floor.why(of))
    other = floor.take_in(f"ball:{of.ball_id}", "thumb")
    assert other.drilling_id == made.id
    ticket_moves.take_up_again(session, of.id, floor.why(of))
    assert (of.drilling_id, floor.stage(of)) == (None, "taken in")


def test_a_plan_without_a_ticket_makes_none(session: Session, floor: Floor, anna: Bowler, who: str) -> None:
    of = floor.take_in("new", "sand", bowler_id=str(anna.id), ball_label="Red")
    planned(session, of.ball_id, who)
    assert of.drilling_id is None
    assert floor.stage(of) == "taken in"


def test_the_bench_hears_that_its_ticket_was_called_off(
    session: Session, floor: Floor, anna: Bowler, client: Client, who: str
) -> None:
    of = floor.take_in("new", "new", bowler_id=str(anna.id), ball_label="Red")
    made, told = planned(session, of.ball_id, who), f"Ticket {of.id}, which this is for, was called off"
    assert ticket_reads.find_called_off(session, made.id) is None
    ticket_moves.call_off(session, of.id, floor.why(of))
    session.commit()
    assert ticket_reads.find_called_off(session, made.id) == of.id
    assert told in client.get(f"/drillings/{made.id}/bench").text
    ticket_moves.take_up_again(session, of.id, floor.why(of))
    session.commit()
    assert told not in client.get(f"/drillings/{made.id}/bench").text
