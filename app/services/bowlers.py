"""Searches bowlers and stores a bowler's personal data."""

import re
from collections.abc import Sequence
from typing import Any

from rapidfuzz import fuzz
from sqlalchemy import bindparam, exists, or_, select
from sqlalchemy.orm import Session, joinedload

from app.errors import ConflictError, InvalidError, NotFoundError
from app.models import Ball, Bowler, Drilling, Fit, Inner, OwnerChange, Shop, Ticket, Trouble
from app.prepared import AnyRow, Asked, Prepared, fetch_together
from app.schemas.bowlers import BowlerForm
from app.services import bowler_words, changes, lookup, matches
from app.services.counter_rows import CounterRow, RowsAhead, list_counter_rows
from app.services.questions import Question
from app.services.words import NewerRow, get_words


class LikelyDuplicateError(ConflictError):
    """The bowler to be added is probably recorded already; `rows` are the likely duplicates."""

    def __init__(self, rows: list[CounterRow]) -> None:
        super().__init__("Is this one of these? Open the record, or say that it is somebody else.")
        self.rows = rows


def search(session: Session, text: str, limit: int = 12, newer: Sequence[Asked[NewerRow]] = ()) -> list[CounterRow]:
    """Returns bowlers by anything on their record, misspelled or not, with the reason.

    Rows are in the order of `Match.order`, then by name. `newer` is the fetched query of `words.ask_newer`.
    """
    known = get_words(session, *newer) if newer else None
    rows = RowsAhead()
    found = {f.bowler_id: f for f in lookup.look_up(session, text, limit, known, rows.ask)}
    shown = rows.list_rows(session, list(found))
    for row in shown:
        row.found = found[row.bowler.id]
    return sorted(shown, key=lambda row: (found[row.bowler.id].order, row.bowler.name, row.bowler.id))


def prepare_search(session: Session) -> None:
    """Reads the words, then compiles the queries of names and plans them in this connection, which the next one gets.

    Whoever searches first need not wait for that.
    """
    get_words(session)
    for few in (1, 4, lookup.BESIDE):  # bowlers
        fetch_together(session, lookup.ask_words([0] * few, Question([], [])), *RowsAhead().ask([0] * few))


def is_clear(found: Sequence[CounterRow]) -> bool:
    """Whether the first row is a clear enough match for Enter to open it."""
    if not found or found[0].of_this_name > 1:
        return False
    distances = [row.found.distance if row.found else 9.0 for row in found]
    return len(found) == 1 or distances[0] < 0.15 <= distances[1]


_BOWLER = select(Bowler).options(joinedload(Bowler.home_shop)).where(Bowler.id == bindparam("bowler_id"))
_bowler, _shop, _ball, _drilling, _fit, _inner, _went, _trouble, _ticket = (
    model.__table__ for model in (Bowler, Shop, Ball, Drilling, Fit, Inner, OwnerChange, Trouble, Ticket)
)
_other = _bowler.alias()
_RECORD: Prepared[AnyRow] = Prepared(
    select(
        *_bowler.c,
        _shop.c.name.label("home_shop"),
        exists().where(_fit.c.bowler_id == _bowler.c.id).label("has_fits"),
        exists().where(_ball.c.bowler_id == _bowler.c.id, _ball.c.removed_at.is_not(None)).label("has_removed_balls"),
        exists().where(_ball.c.bowler_id == _bowler.c.id, _drilling.c.ball_id == _ball.c.id).label("has_drillings"),
        exists()
        .where(
            _ball.c.bowler_id == _bowler.c.id,
            _drilling.c.ball_id == _ball.c.id,
            _trouble.c.drilling_id == _drilling.c.id,
        )
        .label("has_troubles"),
        exists().where(_inner.c.bowler_id == _bowler.c.id).label("has_inners"),
        or_(
            exists().where(_ball.c.bowler_id == _bowler.c.id, _ticket.c.ball_id == _ball.c.id),
            exists().where(_inner.c.bowler_id == _bowler.c.id, _ticket.c.inner_id == _inner.c.id),
        ).label("has_tickets"),
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


def ask_record(bowler_id: int) -> Asked[AnyRow]:
    """Returns the query of a bowler's columns, the house shop's name, `has_fits`, `has_drillings` and so on."""
    return _RECORD.ask(bowler_id=bowler_id)


def read_record(rows: Sequence[AnyRow]) -> AnyRow:
    """Returns the row of `ask_record`; raises NotFoundError."""
    if not rows:
        raise NotFoundError("There is no such bowler.")
    return rows[0]


def register(session: Session, form: BowlerForm) -> Bowler:
    """Adds a bowler; raises LikelyDuplicateError unless the form confirms that it is another person."""
    if not form.is_somebody_else:
        alike = find_alike(session, form)
        if alike:
            raise LikelyDuplicateError(alike)
    _require_shop(session, form)
    added = build(form)
    changes.add_record(session, form.who, added, f"{added.name}, {added.hand} hand")
    session.flush()
    bowler_words.index_bowler(session, added)
    return added


def build(form: BowlerForm) -> Bowler:
    """Returns the bowler of a form, not stored."""
    return Bowler(**_read_particulars(form), **_read_identity(form))


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


def find_alike(session: Session, form: BowlerForm) -> list[CounterRow]:
    """Returns bowlers with the same phone number or nearly the same name."""
    own = " ".join(sorted(bowler_words.fold_words(form.name)))
    by_phone = set(lookup.find_by_phone(session, form.phone))
    named = lookup.look_up(session, form.name, 50)
    by_name = [f.bowler_id for f in named]
    by_phone |= {f.bowler_id for f in named if matches.FORMERLY in f.reason}
    return [
        row
        for row in list_counter_rows(session, list(dict.fromkeys([*by_name, *by_phone])))
        if row.bowler.id in by_phone
        or fuzz.ratio(own, " ".join(sorted(bowler_words.fold_words(row.bowler.name)))) >= 85
    ]
