from datetime import timedelta

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.models import Ball, Drilling, Fit, Trouble, now
from app.services import timelines
from tests.conftest import not_none


def test_the_newest_comes_first_and_what_is_open_is_marked(session: Session) -> None:
    fits = session.scalars(select(Fit).where(Fit.bowler_id == 1).order_by(Fit.id)).all()
    rows = session.execute(select(Ball, Drilling).join(Drilling).where(Ball.bowler_id == 1)).all()
    drilled = [(ball, drilling) for ball, drilling in rows]
    ball, last = drilled[-1]
    last.closed_at = now() + timedelta(days=1)
    more = timelines.Event(now() - timedelta(days=900), "long ago", "/")
    events = timelines.list_events(fits, drilled, {}, [], [more])
    assert (events[0].words, events[0].href, events[0].is_open) == (
        f"{ball.label} closed",
        f"/drillings/{last.id}",
        False,
    )
    assert events[-1] is more
    assert [event.href for event in events if event.is_open] == [f"/fits/{f.id}" for f in fits if f.state == "draft"]
    assert len(timelines.list_events([], [], {}, [], [more] * 30)) == timelines.LONGEST


def test_troubles_are_those_of_the_bowlers_own_balls(session: Session, who: str) -> None:
    drilling = not_none(
        session.scalar(select(Drilling).join(Ball).where(Ball.bowler_id == 1, Drilling.system_id.is_not(None)))
    )
    before = len(timelines.list_troubles(session, 1))
    session.add(
        Trouble(system_id=not_none(drilling.system_id), drilling_id=drilling.id, what="stuck", staff_id=int(who))
    )
    session.flush()
    told = timelines.list_troubles(session, 1)
    assert len(told) == before + 1
    assert told[-1].href == f"/drillings/{drilling.id}"
    assert timelines.list_troubles(session, 2) == []
