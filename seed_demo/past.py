"""Lets the demo's records happen over months: stories take turns, the oldest moment first, and are dated as told.

The services know no clock but the machine's, so the moments that they write are moved while the session flushes.
No story reads the history, so its lines are kept back and written at the end, all in one statement.
"""

import heapq
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from functools import cache
from typing import Any

from sqlalchemy import Date, Insert, Result, event, func, insert, inspect, select
from sqlalchemy.engine.result import null_result
from sqlalchemy.orm import ORMExecuteState, Session

from app.models import Base, Change, DrillingStep, FitHole, now
from app.models.base import Moment

Story = Iterator[float]  # each value says how many days ago what comes next happens
_LONG = {DrillingStep, FitHole}
_JUST_NOW = timedelta(hours=1)
_OF_A_LINE = [column.key for column in inspect(Change).column_attrs if column.key != "id"]


@dataclass
class Past:
    """The moment at which what is saved happened."""

    moment: datetime
    last_ids: dict[type[Base], int] = field(default_factory=dict)
    lines: list[dict[str, Any]] = field(default_factory=list)

    def go_to(self, days_ago: float) -> None:
        """Goes to a day within opening hours, its fraction the time of day; under one day it counts back from now."""
        if days_ago < 1:
            self.moment = now() - timedelta(days=days_ago)
            return
        whole = int(days_ago)
        opened = datetime.combine(now().date() - timedelta(days=whole), time(9), now().tzinfo)
        self.moment = opened + timedelta(hours=9 * (1 - (days_ago - whole)))

    def number(self, session: Session, record: Base) -> None:
        """Gives a row of a long table its number beforehand: rows that have one go to SQLite many at a time."""
        kind = record.__class__
        is_sqlite = session.get_bind().dialect.name == "sqlite"  # elsewhere a sequence would stay behind
        if kind in _LONG and is_sqlite and record.id is None:  # type: ignore[attr-defined]
            if kind not in self.last_ids:
                with session.no_autoflush:
                    self.last_ids[kind] = session.scalar(select(func.max(kind.id))) or 0  # type: ignore[attr-defined]
            self.last_ids[kind] += 1
            record.id = self.last_ids[kind]  # type: ignore[attr-defined]

    def date_back(self, record: Base, is_new: bool) -> None:
        """Moves the moments and days that a record got just now."""
        for name, is_moment, has_default in _list_dates(record.__class__):
            value = getattr(record, name)
            if is_moment and (value is None if is_new and has_default else _is_just_now(value)):
                setattr(record, name, self.moment)
            elif is_new and not is_moment and value == date.today():
                setattr(record, name, self.moment.date())


@cache
def _list_dates(kind: type[Base]) -> list[tuple[str, bool, bool]]:
    """Returns (name, whether it is a moment, whether it has a default) of each column with a moment or day."""
    columns = [(of.key, of.columns[0]) for of in inspect(kind).column_attrs]
    return [
        (name, isinstance(column.type, Moment), bool(column.default))
        for name, column in columns
        if isinstance(column.type, Moment | Date)
    ]


def _is_just_now(value: Any) -> bool:
    return isinstance(value, datetime) and abs(now() - value) < _JUST_NOW


@contextmanager
def in_the_past(session: Session) -> Iterator[Past]:
    """Dates what the session saves at the moment that is set."""
    past = Past(now())

    def date_back(flushed: Session, *_: object) -> None:
        for record in flushed.new:
            past.date_back(record, is_new=True)
            past.number(flushed, record)
            if isinstance(record, Change):
                past.lines.append({name: getattr(record, name) for name in _OF_A_LINE})
                flushed.expunge(record)
        for record in flushed.dirty:
            past.date_back(record, is_new=False)

    def take_many(state: ORMExecuteState) -> Result[Any] | None:
        """Dates rows that are inserted past the session; the lines of history among them are kept back too."""
        if not isinstance(state.statement, Insert) or not isinstance(state.parameters, list):
            return None
        past.last_ids.clear()  # the database numbers these rows
        for row in state.parameters:
            row.update({name: past.moment for name, value in row.items() if _is_just_now(value)})
        if state.statement.table is not Change.__table__:
            return None
        past.lines += [dict.fromkeys(_OF_A_LINE) | row for row in state.parameters]
        return null_result()

    event.listen(session, "before_flush", date_back)
    event.listen(session, "do_orm_execute", take_many)
    try:
        yield past
        session.flush()
        event.remove(session, "do_orm_execute", take_many)
        session.execute(insert(Change), sorted(past.lines, key=lambda line: line["at"]))
    finally:
        event.remove(session, "before_flush", date_back)


def tell(session: Session, past: Past, stories: Iterable[Story]) -> None:
    """Runs the stories to their ends, always that one on which is due first."""
    due: list[tuple[float, int, Story]] = []
    for number, story in enumerate(stories):
        heapq.heappush(due, (-next(story), number, story))
    while due:
        days, number, story = heapq.heappop(due)
        past.go_to(-days)
        following = next(story, None)
        session.flush()
        if following is not None:
            heapq.heappush(due, (-following, number, story))
