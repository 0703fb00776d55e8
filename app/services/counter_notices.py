"""What the counter page says besides its rows: a clock that was set back, guessed passwords, the first day."""

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import NamedTuple

from sqlalchemy import bindparam, false, null, select, union_all

from app.access import CLOCK_SLACK
from app.models import Change, now
from app.models.changes import GUESSED
from app.prepared import Asked, Prepared
from app.queries import constant
from app.services.first_day import IS_OVER
from app.services.ticket_boards import HAS_WORK, day_of

_change = Change.__table__.c
_newest = select(_change.at, _change.id).order_by(_change.id.desc()).limit(constant(1)).subquery()
_notices = union_all(  # the newest line, without its words, and lines about guessing
    select(_newest.c.at, null().label("new"), _newest.c.id, IS_OVER.label("is_over"), HAS_WORK.label("has_work")),
    select(_change.at, _change.new, _change.id, false(), false()).where(  # in no order: SQLite would scan all history
        _change.field == constant(GUESSED), _change.at > bindparam("since")
    ),
)


class Notice(NamedTuple):
    """The newest line of history, without words, with what holds for all shops; or a line about wrong tries."""

    at: datetime
    new: str | None
    id: int
    is_over: bool
    has_work: bool


_NOTICES = Prepared(_notices, Notice)


class Notices(NamedTuple):
    """What people at the counter are warned of, and whether they may need the first day's list and the board."""

    newest_in_future: datetime | None  # of a line of history, by this machine's clock
    guessed: list[Notice]  # last week's, newest first
    is_first_day_over: bool
    has_work: bool  # tickets of any shop that are open or to be asked after


def ask_notices() -> Asked[Notice]:
    """Returns the one query of them all, as the counter page asks them again and again."""
    return _NOTICES.ask(since=now() - timedelta(days=7), today=day_of(now()))


def read_notices(lines: Sequence[Notice]) -> Notices:
    """Sums up the rows of `ask_notices`."""
    newest = next((line for line in lines if line.new is None), None)
    if newest is None:  # nothing was ever written
        return Notices(None, [], False, False)
    newest_in_future = newest.at if newest.at > now() + CLOCK_SLACK else None
    guessed = sorted((line for line in lines if line.new is not None), key=lambda line: line.id, reverse=True)
    return Notices(newest_in_future, guessed[:10], newest.is_over, newest.has_work)
