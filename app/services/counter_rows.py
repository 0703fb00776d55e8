"""Rows of the counter: who was found, who was here, and who waits for what."""

import re
from collections import defaultdict
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, field
from datetime import timedelta
from typing import NamedTuple

from sqlalchemy import BindParameter, Select, SelectBase, bindparam, cast, func, null, select, union_all
from sqlalchemy.orm import Session

from app.closed_sets import GRIP_HOLES_WORDS
from app.measures.wording import letter_of
from app.models import Ball, Bowler, Change, Drilling, DrillingStep, Fit, Shop, now
from app.prepared import AnyRow, Asked, Prepared, fetch_together
from app.queries import constant
from app.services import bowler_words, matches

LONGEST_BOARD = 30  # bowlers
_BALLS_SHOWN = 3
_BETWEEN_WORDS = re.compile(r"([\W_]+)")


class FitLetter(NamedTuple):
    """The columns of a fit in force that a counter row shows."""

    letter: str
    hand: str
    holes: str


class Task(NamedTuple):
    """What waits: a fit to confirm, a ball to drill, to drill on or to measure; `steps` are those done at the bench.

    `drilling_id` is 0 for a fit.
    """

    kind: str
    of: str
    href: str
    steps: int = 0
    drilling_id: int = 0

    @property
    def words(self) -> str:
        return f"{self.of} is a draft" if self.kind == "confirm" else f"{self.of}: {_TO_DO[self.kind]}"


_TO_DO = {"drill": "to drill", "drill on": "on the bench", "measure": "to measure and close"}


@dataclass
class CounterRow:
    """One row of the counter; `bowler` has the columns of `_BOWLERS`."""

    bowler: AnyRow
    fits: list[FitLetter] = field(default_factory=list)
    tasks: list[Task] = field(default_factory=list)
    balls: list[str] = field(default_factory=list)  # those in use, newest first
    of_this_name: int = 1  # among the rows shown
    found: matches.Match | None = None

    @property
    def waiting(self) -> list[str]:
        return [task.words for task in self.tasks]

    @property
    def balls_words(self) -> str:
        """Returns `Blue pearl, Amber hybrid and 2 more`, `no ball` without any."""
        more = len(self.balls) - _BALLS_SHOWN
        told = ", ".join(self.balls[:_BALLS_SHOWN])
        return f"{told} and {more} more" if more > 0 else told or "no ball"

    @property
    def fits_words(self) -> str:
        """Returns `fit C right, A left`, the hand only where both have one, `fit A (two fingers, no thumb)`."""
        told = [
            f"{fit.letter}{f' {fit.hand}' if len(self.fits) > 1 else ''}"
            f"{f' ({GRIP_HOLES_WORDS[fit.holes]})' if fit.holes != 'three' else ''}"
            for fit in self.fits
        ]
        return f"fit {', '.join(told)}" if told else "no fit in force"

    @property
    def name_parts(self) -> list[tuple[str, bool]]:
        """The name in pieces, each with whether it matches what was typed."""
        answers = self.found.words if self.found else {}
        parts: list[tuple[str, bool]] = []
        for number, piece in enumerate(_BETWEEN_WORDS.split(self.bowler.name)):
            folded = "".join(bowler_words.fold_words(piece)) if number % 2 == 0 else ""
            typed = answers.get(folded)
            begun = len(typed) if typed and folded.startswith(typed) and len(folded) == len(piece) else len(piece)
            parts += [(piece[:begun], True), (piece[begun:], False)] if typed else [(piece, False)]
        return [part for part in parts if part[0]]


_IDS: BindParameter[object] = bindparam("ids", expanding=True)
_UNFINISHED = ("planned", "drilled")
_bowler, _shop, _ball, _drilling, _step, _fit, _change = (
    model.__table__ for model in (Bowler, Shop, Ball, Drilling, DrillingStep, Fit, Change)
)
_OF_BOWLER = ("id", "name", "hand", "phone", "phone_digits", "phone_last4", "home_shop_id", "made_by_shop_id")
_last_here = select(func.max(_change.c.at)).where(_change.c.bowler_id == _bowler.c.id).scalar_subquery()
_BOWLERS = (
    select(
        *(_bowler.c[name] for name in _OF_BOWLER),
        _shop.c.name.label("home_shop"),
        _last_here.label("last_here"),
    )
    .select_from(_bowler.outerjoin(_shop, _shop.c.id == _bowler.c.home_shop_id))
    .where(_bowler.c.erased_at.is_(None), _bowler.c.merged_into_id.is_(None), _bowler.c.removed_at.is_(None))
)
_CHOSEN: Prepared[AnyRow] = Prepared(
    _BOWLERS.add_columns(_bowler.c.created_at, _bowler.c.version).where(_bowler.c.id.in_(_IDS))  # for the API
)
_steps_done = (
    select(func.count())
    .where(_step.c.drilling_id == _drilling.c.id, _step.c.ticked_at.is_not(None))
    .correlate(_drilling)
    .scalar_subquery()
)


class Line(NamedTuple):
    """A drilling, a fit or a ball of a bowler, as far as a counter row tells it."""

    bowler_id: int
    what: str
    id: int
    label: str
    state: str
    number: int
    more: str


def _select_lines(of_bowlers: BindParameter[object] | Select[tuple[int]]) -> SelectBase:
    """What the rows of these bowlers tell: drillings that are not closed, fits, and balls in use."""
    drillings = select(
        *(_ball.c.bowler_id, constant("drilling").label("what"), _drilling.c.id, _ball.c.label, _drilling.c.state),
        *(_steps_done.label("number"), constant("").label("more")),
    ).join(_drilling, _drilling.c.ball_id == _ball.c.id)
    fits = select(
        *(_fit.c.bowler_id, constant("fit"), _fit.c.id, _fit.c.hand, _fit.c.state, _fit.c.revision, _fit.c.grip_holes)
    )
    balls = select(
        *(_ball.c.bowler_id, constant("ball"), _ball.c.id, _ball.c.label, constant(""), constant(0), _ball.c.colour)
    )
    return union_all(
        drillings.where(_ball.c.bowler_id.in_(of_bowlers), _drilling.c.state.in_(map(constant, _UNFINISHED))),
        fits.where(_fit.c.bowler_id.in_(of_bowlers), _fit.c.state.in_(map(constant, ("draft", "in force")))),
        balls.where(_ball.c.bowler_id.in_(of_bowlers), _ball.c.retired_at.is_(None), _ball.c.removed_at.is_(None)),
    )


_OF_ROWS = Prepared(_select_lines(_IDS), Line)


class RowsAhead:
    """Queries of what the counter rows of some bowlers tell, fetched before it is known who is shown."""

    def __init__(self) -> None:
        self.bowler_ids: set[int] = set()
        self.asked: list[tuple[Asked[AnyRow], Asked[Line]]] = []

    def ask(self, bowler_ids: Sequence[int]) -> tuple[Asked[AnyRow], Asked[Line]]:
        """Returns the queries about these bowlers, which the caller fetches."""
        self.bowler_ids.update(bowler_ids)
        self.asked.append((_CHOSEN.ask(ids=list(bowler_ids)), _OF_ROWS.ask(ids=list(bowler_ids))))
        return self.asked[-1]

    def list_rows(self, session: Session, bowler_ids: Sequence[int]) -> list[CounterRow]:
        """Returns the rows of these bowlers in their order; those not asked for yet are fetched in one round trip."""
        missing = [i for i in bowler_ids if i not in self.bowler_ids]
        if missing:
            fetch_together(session, *self.ask(missing))
        shown = frozenset(bowler_ids)
        known = {b.id: CounterRow(b) for bowlers, _ in self.asked for b in bowlers.rows if b.id in shown}
        lines = {(line.what, line.id): line for _, lines in self.asked for line in lines.rows}  # the last of one twice
        _fill_rows(known, lines.values())
        return [known[i] for i in bowler_ids if i in known]


def list_counter_rows(session: Session, bowler_ids: Sequence[int]) -> list[CounterRow]:
    """Returns counter rows of these bowlers in their order, in one round trip for any number of them."""
    return RowsAhead().list_rows(session, bowler_ids)


def _fill_rows(rows: dict[int, CounterRow], lines: Iterable[Line]) -> None:
    """Adds fits, balls, what is waiting, and how many have the same name, to rows by bowler; skips other bowlers."""
    for line in sorted((line for line in lines if line.bowler_id in rows), key=lambda line: line.id):
        row = rows[line.bowler_id]
        if line.what == "ball":
            is_told = not line.more or line.more.casefold() in line.label.casefold()
            row.balls.insert(0, line.label if is_told else f"{line.label}, {line.more}")
        elif line.what == "drilling":
            row.tasks.append(_name_task(line))
        elif line.state == "in force":
            row.fits.append(FitLetter(letter_of(line.number), line.label, line.more))
        else:
            row.tasks.insert(0, Task("confirm", f"fit {letter_of(line.number)}", f"/fits/{line.id}"))
    same = defaultdict(list)
    for row in rows.values():
        row.fits.sort(key=lambda fit: fit.hand, reverse=True)
        same[tuple(sorted(bowler_words.fold_words(row.bowler.name)))].append(row)
    for alike in same.values():
        for row in alike:
            row.of_this_name = len(alike)


def _name_task(line: Line) -> Task:
    """What a drilling that is not closed waits for, and the page where that is done."""
    if line.state == "drilled":
        return Task("measure", line.label, f"/drillings/{line.id}", drilling_id=line.id)
    if line.number:
        return Task("drill on", line.label, f"/drillings/{line.id}/bench", line.number, line.id)
    return Task("drill", line.label, f"/drillings/{line.id}", drilling_id=line.id)


_lately = (
    select(_change.c.bowler_id, _change.c.at)
    .where(_change.c.at >= bindparam("since"), _change.c.bowler_id.is_not(None))
    .order_by(_change.c.at.desc(), _change.c.bowler_id.desc())
    .limit(constant(500))
    .subquery()
)
_newest = func.max(_lately.c.at).label("newest")
_here = (
    select(_lately.c.bowler_id, cast(null(), _drilling.c.planned_at.type).label("since"), _newest)
    .group_by(_lately.c.bowler_id)
    .order_by(_newest.desc(), _lately.c.bowler_id)
    .limit(constant(10))
    .subquery()
)
_open = union_all(  # a query for each state: SQLite's planner does not know that most drillings are closed
    *(
        select(_ball.c.bowler_id, _drilling.c.planned_at.label("since"))
        .join(_ball, _ball.c.id == _drilling.c.ball_id)
        .where(_drilling.c.state == constant(state))
        for state in _UNFINISHED
    ),
    select(_fit.c.bowler_id, _fit.c.created_at).where(_fit.c.state == constant("draft")),
).subquery()
_oldest = func.min(_open.c.since).label("since")
_waiting = (
    select(_open.c.bowler_id, _oldest, cast(null(), _change.c.at.type).label("newest"))
    .group_by(_open.c.bowler_id)
    .order_by(_oldest, _open.c.bowler_id)
    .limit(constant(LONGEST_BOARD))
    .subquery()
)
_both = union_all(select(_waiting), select(_here)).cte("both")
_AT_THE_COUNTER: Prepared[AnyRow] = Prepared(
    _BOWLERS.add_columns(_both.c.newest)
    .join(_both, _both.c.bowler_id == _bowler.c.id)
    .order_by(_both.c.since, _both.c.newest.desc(), _bowler.c.id)
)
_LINES_AT_THE_COUNTER = Prepared(_select_lines(select(_both.c.bowler_id)), Line)


def ask_at_the_counter() -> tuple[Asked[AnyRow], Asked[Line]]:
    """Returns queries: bowlers for whom something waits or who were here in twelve hours, and what their rows tell."""
    since = now() - timedelta(hours=12)
    return _AT_THE_COUNTER.ask(since=since), _LINES_AT_THE_COUNTER.ask(since=since)


def read_at_the_counter(bowlers: Iterable[AnyRow], lines: Iterable[Line]) -> tuple[list[CounterRow], list[CounterRow]]:
    """Returns (bowlers for whom something waits, oldest first; bowlers of the last twelve hours, newest first).

    The rows of `ask_at_the_counter` are given.
    """
    known: dict[int, CounterRow] = {}
    waiting: list[CounterRow] = []
    here: list[CounterRow] = []
    for bowler in bowlers:
        row = known.setdefault(bowler.id, CounterRow(bowler))
        (waiting if bowler.newest is None else here).append(row)
    _fill_rows(known, lines)
    return waiting, here


def sort_tasks(rows: Iterable[CounterRow], ticketed: Collection[int] = ()) -> dict[str, list[tuple[CounterRow, Task]]]:
    """Sorts what waits into the columns `confirm`, `drill`, `drill on` and `measure`, in the rows' order.

    Drillings that a ticket is for are left out: they stand on the board.
    """
    board: dict[str, list[tuple[CounterRow, Task]]] = {"confirm": [], "drill": [], "drill on": [], "measure": []}
    for row in rows:
        for task in row.tasks:
            if task.drilling_id not in ticketed:
                board[task.kind].append((row, task))
    return board
