"""What the counter page says besides its rows, found in one query."""

from datetime import timedelta

import pytest
from sqlalchemy import event
from sqlalchemy.orm import Session

from app.models import Ball, Bowler, Drilling, now
from app.services import counter_notices, ticket_boards
from tests.services.floor_rows import Rows


@pytest.mark.once
def test_the_owners_notice_of_guessing_does_not_scan_the_history(session: Session) -> None:
    """SQLite's own plan is the outside check: an index finds the few lines, however long the history is."""
    seen: list[tuple[str, object]] = []
    bind = session.get_bind()
    event.listen(bind, "before_cursor_execute", lambda *told: seen.append((told[2], told[3])))
    counter_notices.ask_notices().fetch(session)
    statement, values = seen[-1]
    plan = session.connection().exec_driver_sql(f"EXPLAIN QUERY PLAN {statement}", values).all()  # type: ignore[arg-type]
    steps = [step[-1] for step in plan]
    assert "SEARCH change USING INDEX ix_change_guessed (at>?)" in steps
    assert steps.count("SCAN change") == 1, "the newest line alone, from the end of the table"


def test_the_first_day_is_over_with_the_first_drilled_ball_of_a_fit(session: Session) -> None:
    assert counter_notices.read_notices(counter_notices.ask_notices().fetch(session)).is_first_day_over
    session.query(Drilling).update({"state": "planned"})
    session.flush()
    assert not counter_notices.read_notices(counter_notices.ask_notices().fetch(session)).is_first_day_over


@pytest.mark.parametrize(
    ("state", "outcome", "due_in_days", "is_erased", "has_work"),
    [
        ("taken in", "", None, False, True),
        ("done", "", None, False, True),
        ("handed over", "", 0, False, True),
        ("handed over", "", 1, False, False),
        ("handed over", "", None, False, False),
        ("handed over", "", -3, True, False),
        ("followed up", "good", -3, False, False),
        ("called off", "", None, False, False),
    ],
)
def test_there_is_work_with_an_open_ticket_or_somebody_to_ask_after(
    session: Session, who: str, state: str, outcome: str, due_in_days: int | None, is_erased: bool, has_work: bool
) -> None:
    """The board itself, asked for every shop, is the check beside it."""
    at = now()
    due = None if due_in_days is None else ticket_boards.day_of(at) + timedelta(days=due_in_days)
    Rows(session, who).ticket(state=state, outcome=outcome, follow_up_on=due)
    if is_erased:
        session.get_one(Bowler, session.get_one(Ball, 1).bowler_id).erased_at = at
        session.flush()
    told = counter_notices.read_notices(counter_notices.ask_notices().fetch(session))
    work = ticket_boards.list_work(session, None, at)
    assert told.has_work == bool(work.tickets or work.due) == has_work
