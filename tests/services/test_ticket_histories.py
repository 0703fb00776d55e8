"""Every stage of a ticket has a who and a when, whether it is its own, a wait or its drilling's."""

from datetime import timedelta

import pytest
from sqlalchemy.orm import Session

from app.models import Drilling
from app.services import ticket_histories, ticket_moves
from tests.conftest import not_none
from tests.services.conftest import Make
from tests.services.floor_hands import Floor
from tests.services.test_bench import confirmed, ticked


@pytest.fixture
def floor(session: Session, who: str) -> Floor:
    return Floor(session, who)


def told(session: Session, ticket_id: int) -> list[tuple[str, str, str]]:
    session.flush()
    moves = ticket_histories.list_moves(session, ticket_id)
    assert [move.at for move in moves] == sorted(move.at for move in moves)
    return [(move.stage, move.initials, move.note) for move in moves]


def test_a_wait_is_told_with_its_question_and_its_end(session: Session, floor: Floor, plan: Drilling) -> None:
    of = floor.take_in(f"ball:{plan.ball_id}", "sand")
    floor.end_wait(floor.wait(of, "question", why="Which grit?"), "1000")
    assert told(session, of.id) == [
        ("taken in", "TB", ""),
        ("waiting", "TB", "question: Which grit? → 1000"),
        ("wait over", "TB", ""),
    ]


def test_a_hand_over_taken_back_leads_to_the_stage_before_it_and_to_no_wait(
    session: Session, floor: Floor, plan: Drilling
) -> None:
    of = floor.done(f"ball:{plan.ball_id}")
    floor.end_wait(floor.wait(of, "part", why="tag"))
    ticket_moves.take_back(session, floor.hand_over(of).id, floor.why(of))
    assert [stage for stage, _, _ in told(session, of.id)][-5:] == [
        "done",
        "waiting",
        "wait over",
        "handed over",
        "done",
    ]


def test_the_bench_began_with_the_step_ticked_first_wherever_it_stands(
    session: Session, floor: Floor, make: Make, who: str
) -> None:
    started = make()
    of = floor.take_in(f"ball:{started.ball_id}", "new")
    first, second = (ticked(session, started, who, position) for position in (1, 2))
    second.ticked_at = not_none(first.ticked_at) - timedelta(seconds=1)  # a bench sent late what it had done before
    assert [note for stage, _, note in told(session, of.id) if stage == "on the bench"] == [second.words]


def test_a_drilling_tells_when_it_was_planned_and_begun(session: Session, floor: Floor, make: Make, who: str) -> None:
    started = make()
    of = floor.take_in(f"ball:{started.ball_id}", "new")
    confirmed(session, started, who)
    first = ticked(session, started, who, 1)
    assert told(session, of.id) == [("planned", "TB", ""), ("taken in", "TB", ""), ("on the bench", "TB", first.words)]
