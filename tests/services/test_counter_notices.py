"""What the counter page says besides its rows, found in one query."""

import pytest
from sqlalchemy import event
from sqlalchemy.orm import Session

from app.models import Drilling
from app.services import counter_notices


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
