"""Searches bowlers and stores a bowler's personal data."""

import re
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import timedelta
from typing import Any, NamedTuple

from rapidfuzz import fuzz
from sqlalchemy import BindParameter, bindparam, exists, func, or_, select, union_all
from sqlalchemy.orm import Session, joinedload

from app.errors import ConflictError, InvalidError, NotFoundError
from app.models import Ball, Bowler, Change, Drilling, Fit, Inner, OwnerChange, Shop, letter_of, now
from app.queries import constant
from app.schemas.bowlers import BowlerForm
from app.services import bowler_words, changes, lookup


class LikelyDuplicateError(ConflictError):
    """The bowler to be added is probably recorded already; `rows` are the likely duplicates."""

    def __init__(self, rows: "list[CounterRow]") -> None:
        super().__init__("Is this one of these? Open the record, or say that it is somebody else.")
        self.rows = rows


class FitLetter(NamedTuple):
    """The columns of a fit in force that a counter row shows."""

    letter: str
    hand: str
    holes: str


@dataclass
class CounterRow:
    """One row of the counter; `bowler` has the columns of `_BOWLERS`."""

    bowler: Any
    fits: list[FitLetter] = field(default_factory=list)
    waiting: list[str] = field(default_factory=list)
    of_this_name: int = 1  # among the rows shown
    found: lookup.Match | None = None

    @property
    def name_parts(self) -> list[tuple[str, bool]]:
        """The name in pieces, each with whether it matches what was typed."""
        if not self.found:
            return [(self.bowler.name, False)]
        answers = self.found.words
        parts: list[tuple[str, bool]] = []
        for piece in re.findall(r"[^\W_]+|[\W_]+", self.bowler.name):
            folded = "".join(bowler_words.fold_words(piece))
            typed = answers.get(folded)
            begun = len(typed) if typed and folded.startswith(typed) and len(folded) == len(piece) else len(piece)
            parts += [(piece[:begun], True), (piece[begun:], False)] if typed else [(piece, False)]
        return [part for part in parts if part[0]]


def search(session: Session, text: str, limit: int = 12) -> list[CounterRow]:
    """Returns bowlers by anything on their record, misspelled or not, with the reason.

    Rows are in the order of `Match.order`, then by name.
    """
    found = {f.bowler_id: f for f in lookup.look_up(session, text, limit)}
    shown = list_counter_rows(session, list(found))
    for row in shown:
        row.found = found[row.bowler.id]
    return sorted(shown, key=lambda row: (found[row.bowler.id].order, row.bowler.name, row.bowler.id))


def is_clear(found: Sequence[CounterRow]) -> bool:
    """Whether the first row is a clear enough match for Enter to open it."""
    if not found or found[0].of_this_name > 1:
        return False
    distances = [row.found.distance if row.found else 9.0 for row in found]
    return len(found) == 1 or distances[0] < 0.15 <= distances[1]


_IDS: BindParameter[Any] = bindparam("ids", expanding=True)
_UNFINISHED = ("planned", "drilled")
_bowler, _shop, _ball, _drilling, _fit, _change = (
    model.__table__ for model in (Bowler, Shop, Ball, Drilling, Fit, Change)
)
_OF_BOWLER = ("id", "name", "hand", "phone", "phone_digits", "phone_last4", "home_shop_id", "made_by_shop_id")
_balls_in_use = select(func.count()).where(
    _ball.c.bowler_id == _bowler.c.id, _ball.c.retired_at.is_(None), _ball.c.removed_at.is_(None)
)
_BOWLERS = (
    select(
        *(_bowler.c[name] for name in (*_OF_BOWLER, "created_at", "version")),
        _shop.c.name.label("home_shop"),
        _balls_in_use.scalar_subquery().label("balls"),
    )
    .select_from(_bowler.outerjoin(_shop, _shop.c.id == _bowler.c.home_shop_id))
    .where(_bowler.c.erased_at.is_(None), _bowler.c.merged_into_id.is_(None), _bowler.c.removed_at.is_(None))
)
_CHOSEN = _BOWLERS.where(_bowler.c.id.in_(_IDS))
_UNDER_WAY = union_all(  # (bowler, label of a ball or hand of a fit, state, number, holes of a fit's grip)
    select(
        _ball.c.bowler_id, _ball.c.label, _drilling.c.state, _drilling.c.id.label("number"), constant("").label("holes")
    )
    .join(_drilling, _drilling.c.ball_id == _ball.c.id)
    .where(_ball.c.bowler_id.in_(_IDS), _drilling.c.state.in_(map(constant, _UNFINISHED))),
    select(_fit.c.bowler_id, _fit.c.hand, _fit.c.state, _fit.c.revision, _fit.c.grip_holes).where(
        _fit.c.bowler_id.in_(_IDS), _fit.c.state.in_(map(constant, ("draft", "in force")))
    ),
)


def list_counter_rows(session: Session, bowler_ids: Sequence[int]) -> list[CounterRow]:
    """Returns counter rows of these bowlers in their order, in two queries for any number of them."""
    if not bowler_ids:
        return []
    known = {b.id: CounterRow(b) for b in session.execute(_CHOSEN, {"ids": list(bowler_ids)})}
    _fill_rows(session, known)
    return [known[i] for i in bowler_ids if i in known]


def _fill_rows(session: Session, rows: dict[int, CounterRow]) -> None:
    """Adds fits, what is waiting, and how many have the same name, to rows by bowler."""
    under_way = session.execute(_UNDER_WAY, {"ids": list(rows)}).all() if rows else []
    for bowler_id, words, state, number, holes in sorted(under_way, key=lambda line: line.number):
        row = rows[bowler_id]
        if state in _UNFINISHED:
            row.waiting.append(f"{words}: {'to drill' if state == 'planned' else 'to measure and close'}")
        elif state == "in force":
            row.fits.append(FitLetter(letter_of(number), words, holes))
        else:
            row.waiting.insert(0, f"fit {letter_of(number)} is a draft")
    same = defaultdict(list)
    for row in rows.values():
        row.fits.sort(key=lambda fit: fit.hand, reverse=True)
        same[tuple(sorted(bowler_words.fold_words(row.bowler.name)))].append(row)
    for alike in same.values():
        for row in alike:
            row.of_this_name = len(alike)


_lately = (
    select(_change.c.bowler_id, _change.c.id)
    .where(_change.c.at >= bindparam("since"))
    .order_by(_change.c.at.desc())
    .limit(constant(500))
    .subquery()
)
_newest = func.row_number().over(order_by=func.max(_lately.c.id).desc()).label("place")
_here = (
    select(_lately.c.bowler_id, _newest)
    .where(_lately.c.bowler_id.is_not(None))
    .group_by(_lately.c.bowler_id)
    .order_by(_newest)
    .limit(constant(10))
    .subquery()
)
_open_drillings = union_all(  # one query for each state: SQLite's planner does not know that most drillings are closed
    *(
        select(_drilling.c.ball_id, _drilling.c.planned_at).where(_drilling.c.state == constant(state))
        for state in _UNFINISHED
    )
).subquery()
_oldest = func.row_number().over(order_by=func.min(_open_drillings.c.planned_at)).label("place")
_waiting = (
    select(_ball.c.bowler_id, _oldest)
    .join(_open_drillings, _open_drillings.c.ball_id == _ball.c.id)
    .group_by(_ball.c.bowler_id)
    .order_by(_oldest)
    .limit(constant(20))
    .subquery()
)
_both = union_all(
    *(
        select(own.c.bowler_id, own.c.place, constant(int(own is _waiting)).label("is_waiting"))
        for own in (_waiting, _here)
    )
).subquery()
_AT_THE_COUNTER = (
    _BOWLERS.add_columns(_both.c.is_waiting).join(_both, _both.c.bowler_id == _bowler.c.id).order_by(_both.c.place)
)


def list_at_the_counter(session: Session) -> tuple[list[CounterRow], list[CounterRow]]:
    """Returns (bowlers with an unfinished drilling, oldest first; bowlers of the last twelve hours, newest first)."""
    known: dict[int, CounterRow] = {}
    waiting: list[CounterRow] = []
    here: list[CounterRow] = []
    for bowler in session.execute(_AT_THE_COUNTER, {"since": now() - timedelta(hours=12)}):
        row = known.setdefault(bowler.id, CounterRow(bowler))
        (waiting if bowler.is_waiting else here).append(row)
    _fill_rows(session, known)
    return waiting, here


_BOWLER = select(Bowler).options(joinedload(Bowler.home_shop)).where(Bowler.id == bindparam("bowler_id"))
_inner, _went, _other = Inner.__table__, OwnerChange.__table__, _bowler.alias()
_RECORD = (
    select(
        *_bowler.c,
        _shop.c.name.label("home_shop"),
        exists().where(_fit.c.bowler_id == _bowler.c.id).label("has_fits"),
        exists().where(_ball.c.bowler_id == _bowler.c.id).label("has_balls"),
        exists().where(_ball.c.bowler_id == _bowler.c.id, _ball.c.removed_at.is_not(None)).label("has_removed_balls"),
        exists().where(_ball.c.bowler_id == _bowler.c.id, _drilling.c.ball_id == _ball.c.id).label("has_drillings"),
        exists().where(_inner.c.bowler_id == _bowler.c.id).label("has_inners"),
        exists().where(_other.c.merged_into_id == _bowler.c.id).label("has_merged"),
        exists().where(or_(_went.c.from_id == _bowler.c.id, _went.c.to_id == _bowler.c.id)).label("has_owner_changes"),
    )
    .select_from(_bowler.outerjoin(_shop, _shop.c.id == _bowler.c.home_shop_id))
    .where(_bowler.c.id == bindparam("bowler_id"))
)


def get_bowler(session: Session, bowler_id: int) -> Bowler:
    """Returns a bowler, of a merged record the one that it is part of; raises NotFoundError."""
    found = session.scalar(_BOWLER, {"bowler_id": bowler_id}, execution_options={"populate_existing": True})
    if found is None:
        raise NotFoundError("There is no such bowler.")
    return get_bowler(session, found.merged_into_id) if found.merged_into_id else found


def require_in_use(bowler: Bowler) -> None:
    """Raises ConflictError for a record that was removed, or a person who was erased."""
    if bowler.erased_at:
        raise ConflictError("This person was erased from the records, and nothing may be added.")
    if bowler.removed_at:
        raise ConflictError(f"The record of {bowler.name} was removed. Put it back first.")


def get_record(session: Session, bowler_id: int) -> Any:
    """Returns a bowler's columns, the house shop's name, `has_fits`, `has_balls` and so on; raises NotFoundError."""
    found = session.execute(_RECORD, {"bowler_id": bowler_id}).one_or_none()
    if found is None:
        raise NotFoundError("There is no such bowler.")
    return found


def register(session: Session, form: BowlerForm) -> Bowler:
    """Adds a bowler; raises LikelyDuplicateError unless the form confirms that it is another person."""
    if not form.is_somebody_else:
        alike = _find_alike(session, form)
        if alike:
            raise LikelyDuplicateError(alike)
    _require_shop(session, form)
    added = Bowler(**_read_particulars(form), **_read_identity(form))
    changes.add_record(session, form.who, added, f"{added.name}, {added.hand} hand")
    session.flush()
    bowler_words.index_bowler(session, added)
    return added


def edit(session: Session, bowler_id: int, form: BowlerForm) -> Bowler:
    """Changes a bowler's record and search index; raises ConflictError for an older version or an erased bowler."""
    edited = get_bowler(session, bowler_id)
    if edited.id != bowler_id:
        raise ConflictError(f"This record is part of the record of {edited.name} now: save what you typed there.")
    require_in_use(edited)
    changes.require_version(session, edited, form.version)
    _require_shop(session, form)
    values = _read_particulars(form)
    identity = _read_identity(form)
    changes.revise(session, form.who, edited, values | {"name": identity["name"], "phone": identity["phone"]})
    edited.phone_digits, edited.phone_last4 = identity["phone_digits"], identity["phone_last4"]
    session.flush()
    bowler_words.index_bowler(session, edited)
    return edited


def _read_particulars(form: BowlerForm) -> dict[str, Any]:
    names = ("hand", "home_shop_id", "league", "notes", "is_minor", "guardian", "consent")
    return {name: getattr(form, name) for name in names}


def _require_shop(session: Session, form: BowlerForm) -> None:
    if form.home_shop_id and session.get(Shop, form.home_shop_id) is None:
        raise InvalidError.at("home_shop_id", "That shop is not known. Choose one, or leave it open.")


def _read_identity(form: BowlerForm) -> dict[str, str]:
    digits = re.sub(r"\D", "", form.phone)
    return {"name": form.name, "phone": form.phone, "phone_digits": digits, "phone_last4": digits[-4:]}


def _find_alike(session: Session, form: BowlerForm) -> list[CounterRow]:
    """Returns bowlers with the same phone number or nearly the same name."""
    own = " ".join(sorted(bowler_words.fold_words(form.name)))
    by_phone = set(lookup.find_by_phone(session, form.phone))
    named = lookup.look_up(session, form.name, 50)
    by_name = [f.bowler_id for f in named]
    by_phone |= {f.bowler_id for f in named if lookup.FORMERLY in f.reason}
    return [
        row
        for row in list_counter_rows(session, list(dict.fromkeys([*by_name, *by_phone])))
        if row.bowler.id in by_phone
        or fuzz.ratio(own, " ".join(sorted(bowler_words.fold_words(row.bowler.name)))) >= 85
    ]
