from datetime import timedelta

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.models import Ball, Bowler, Change, Drilling, DrillingStep, Fit, now
from app.prepared import fetch_together
from app.services import counter_rows
from tests.conftest import not_none


def list_here(session: Session) -> tuple[list[counter_rows.CounterRow], list[counter_rows.CounterRow]]:
    bowlers, lines = counter_rows.ask_at_the_counter()
    return counter_rows.read_at_the_counter(bowlers.fetch(session), lines.fetch(session))


def find(session: Session, name: str) -> counter_rows.CounterRow:
    known = not_none(session.scalar(select(Bowler).where(Bowler.name == name)))
    return counter_rows.list_counter_rows(session, [known.id])[0]


def test_the_board_sorts_what_waits_by_what_is_to_be_done_next(session: Session) -> None:
    waiting, _ = list_here(session)
    board = {
        kind: [(row.bowler.name, task) for row, task in tasks]
        for kind, tasks in counter_rows.sort_tasks(waiting).items()
    }
    draft = not_none(session.scalar(select(Fit).where(Fit.state == "draft")))
    planned = not_none(session.scalar(select(Drilling).where(Drilling.state == "planned")))
    assert [(name, task.href) for name, task in board["confirm"]] == [("Anna Johnson", f"/fits/{draft.id}")]
    assert [(name, task.href, task.of) for name, task in board["drill"]] == [
        ("Piet Olander", f"/drillings/{planned.id}", "Grey solid")
    ]
    assert board["drill on"] == board["measure"] == []


def test_a_ball_moves_along_the_board_with_its_first_step_and_when_it_is_drilled(session: Session) -> None:
    planned = not_none(session.scalar(select(Drilling).where(Drilling.state == "planned")))
    step = not_none(session.scalar(select(DrillingStep).where(DrillingStep.drilling_id == planned.id)))
    step.ticked_at = now()
    session.flush()
    (task,) = find(session, "Piet Olander").tasks
    assert task == counter_rows.Task("drill on", "Grey solid", f"/drillings/{planned.id}/bench", 1, planned.id)
    planned.state = "drilled"
    session.flush()
    (task,) = find(session, "Piet Olander").tasks
    assert task == counter_rows.Task("measure", "Grey solid", f"/drillings/{planned.id}", drilling_id=planned.id)


def test_a_row_tells_balls_newest_first_with_a_colour_that_their_name_does_not_say(session: Session) -> None:
    anna = find(session, "Anna Johnson").bowler.id
    older = find(session, "Anna Johnson").balls
    for label, colour in (("Third", "amber"), ("Violet four", "violet"), ("Fifth", "")):
        session.add(Ball(bowler_id=anna, label=label, colour=colour))
    session.flush()
    row = find(session, "Anna Johnson")
    assert row.balls == ["Fifth", "Violet four", "Third, amber", *older]
    assert row.balls_words == f"Fifth, Violet four, Third, amber and {len(older)} more"


def test_rows_asked_ahead_twice_or_for_others_or_not_at_all_are_those_of_the_shown(session: Session) -> None:
    everyone = list(session.scalars(select(Bowler.id).order_by(Bowler.id)))
    shown = [everyone[2], everyone[1], everyone[0]]
    ahead = counter_rows.RowsAhead()
    fetch_together(session, *ahead.ask([everyone[0], everyone[1], everyone[-1]]))
    ball = not_none(session.scalar(select(Ball).where(Ball.bowler_id == everyone[0], Ball.removed_at.is_(None))))
    ball.label = "Renamed meanwhile"
    fetch_together(session, *ahead.ask([everyone[0]]))
    rows = ahead.list_rows(session, shown)
    alone = counter_rows.list_counter_rows(session, shown)
    assert any(row.balls and row.fits for row in alone)
    assert "Renamed meanwhile" in " ".join(alone[2].balls)
    assert rows == alone


def test_a_row_tells_when_the_bowler_was_last_here(session: Session) -> None:
    anna = find(session, "Anna Johnson").bowler
    then = now() + timedelta(days=3)
    session.add(Change(bowler_id=anna.id, noun="bowler", noun_id=anna.id, field="notes", at=then))
    session.flush()
    assert find(session, "Anna Johnson").bowler.last_here == then


@pytest.mark.parametrize(
    ("fits", "words"),
    [
        ([], "no fit in force"),
        ([("C", "right", "three")], "fit C"),
        ([("C", "right", "three"), ("A", "left", "thumbless")], "fit C right, A left (two fingers, no thumb)"),
    ],
)
def test_a_row_says_which_fits_are_in_force(fits: list[tuple[str, str, str]], words: str) -> None:
    row = counter_rows.CounterRow(None, [counter_rows.FitLetter(*fit) for fit in fits])
    assert row.fits_words == words
