"""Whether anything that boards show has changed: the history's own numbers are the board's version.

Every write adds a line of history, and lines are numbered in the order in which they are committed, because one
request writes at a time. So nothing else has to be counted, and nothing can be forgotten.
"""

from datetime import datetime
from typing import NamedTuple

from sqlalchemy import bindparam, func, select
from sqlalchemy.orm import Session

from app.models import Change, TicketWait
from app.queries import constant

_RELEVANT = frozenset(("ticket", "ticket_wait", "drilling", "ball", "inner", "bowler", "squad", "floor", "fit"))
_MOST_LINES = 500  # a longer burst is read in turns
_change, _wait = Change.__table__.c, TicketWait.__table__.c
_NEWER = (
    select(_change.id, _change.noun)
    .where(_change.id > bindparam("seen"))
    .order_by(_change.id)
    .limit(constant(_MOST_LINES))
)
_NEWEST = select(func.max(_change.id))
_CURED = select(func.count(), func.max(_wait.id)).where(_wait.ended_at.is_(None), _wait.until <= bindparam("at"))


class News(NamedTuple):
    """The last line of history read, whether boards show any of the lines, and which glue waits are over by now."""

    last_id: int
    is_relevant: bool
    cured: tuple[int, int]


def read_newest(session: Session) -> int:
    """Returns the number of the history's last line."""
    return session.scalar(_NEWEST) or 0


def read_news(session: Session, seen: int, at: datetime) -> News:
    """Reads what came after a line of history, and how many waits for glue are over."""
    lines = session.execute(_NEWER, {"seen": seen}).all()
    count, last = session.execute(_CURED, {"at": at}).one()
    return News(lines[-1].id if lines else seen, any(line.noun in _RELEVANT for line in lines), (count, last or 0))
