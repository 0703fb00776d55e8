"""The history: every service that writes records here who changed which value from what to what.

Services write it explicitly, because ORM events miss bulk writes and do not know the reason. The shop that made a
record is set by an ORM event, because it is not part of the history.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from fractions import Fraction
from typing import Any, NamedTuple, cast

from sqlalchemy import Table, and_, bindparam, insert, or_, select
from sqlalchemy.orm import Session
from sqlalchemy.orm.attributes import set_committed_value
from sqlalchemy.sql.schema import CallableColumnDefault, ScalarElementColumnDefault

from app.access import Actor
from app.errors import ConflictError, NotAllowedError
from app.measures.wording import exact
from app.models import Base, Change, Staff, now
from app.prepared import Asked, Prepared
from app.queries import constant

MADE = "made"
_LONGEST = 300
_WITHOUT_LINE = {"typed", "version"}  # texts and keys that belong to values with lines of their own


@dataclass(frozen=True)
class Entry:
    """One line of history to be written: field, old and new value, reason."""

    field: str
    old: object
    new: object
    why: str = ""


def require_may_edit(session: Session, record: Any) -> None:
    """Raises NotAllowedError for another shop's record if the chain's rule is that each shop edits only its own."""
    actor: Actor | None = session.info.get("actor")
    if actor and not actor.may_edit(record):
        raise NotAllowedError("Another shop of ours made this record, and only that shop or an owner may change it.")


def insert_all(session: Session, records: Sequence[Base]) -> None:
    """Inserts new records of one table in one statement, and sets their ids; the session does not hold them.

    For many at once: the session's own bookkeeping takes longer than the database. Related records are not followed.
    """
    if not records:
        return
    session.flush()  # what is older comes first, and is refused first where nothing may be written
    table = cast("Table", type(records[0]).__table__)
    columns = {column.key: column.default for column in table.columns if column.key != "id"}
    plain = {name: default.arg for name, default in columns.items() if isinstance(default, ScalarElementColumnDefault)}
    plain |= {"version": 1} if "version" in columns else {}
    plain |= {"made_by_shop_id": session.info.get("shop_id")} if "made_by_shop_id" in columns else {}
    called = {name: default for name, default in columns.items() if isinstance(default, CallableColumnDefault)}
    blank = dict.fromkeys(columns) | plain
    rows = []
    for record in records:
        held = vars(record)
        made = {n: of.arg(None) for n, of in called.items() if n not in held}  # type: ignore[arg-type]  # none looks at it
        rows.append(blank | made | {name: held[name] for name in columns if held.get(name) is not None})
    ids = session.execute(insert(table).returning(table.c.id, sort_by_parameter_order=True), rows).scalars().all()
    for record, number in zip(records, ids, strict=True):
        set_committed_value(record, "id", number)


class Made(NamedTuple):
    """A new record to be told of in the history, in words, and whose it is."""

    noun: str
    noun_id: int
    words: str
    why: str
    bowler_id: int


def note_made(session: Session, who: int, made: Sequence[Made]) -> None:
    """Writes the first lines of history of many new records at once."""
    lines = [
        {
            "at": now(),
            "staff_id": who,
            "noun": one.noun,
            "noun_id": one.noun_id,
            "bowler_id": one.bowler_id,
            "field": MADE,
            "old": "",
            "new": format_value(one.words),
            "why": one.why,
            "made_by_shop_id": session.info.get("shop_id"),
        }
        for one in made
    ]
    if lines:
        session.execute(insert(cast("Table", Change.__table__)), lines)


def note(
    session: Session,
    who: int | None,
    record: Any,
    entry: Entry,
    bowler: int | None = None,
    is_addition: bool = False,
) -> None:
    """Adds one line to a record's history; raises NotAllowedError unless it is an addition, such as a new reading."""
    if not is_addition:
        require_may_edit(session, record)
    session.add(
        Change(
            staff_id=who,
            noun=record.__tablename__,
            noun_id=record.id,
            bowler_id=bowler or getattr(record, "bowler_id", None) or _own_id(record),
            field=entry.field[:400],
            old=format_value(entry.old),
            new=format_value(entry.new),
            why=entry.why,
        )
    )


def _own_id(record: Any) -> int | None:
    return record.id if record.__tablename__ == "bowler" else None


def add_record(
    session: Session, who: int | None, record: Base, words: str, why: str = "", bowler: int | None = None
) -> None:
    """Adds a new record and its first line of history."""
    session.add(record)
    session.flush()
    note(session, who, record, Entry(MADE, "", words, why), bowler, is_addition=True)


def revise(
    session: Session, who: int, record: Any, values: Mapping[str, Any], why: str = "", bowler: int | None = None
) -> int:
    """Sets the values that differ, each with a line of history; returns their number."""
    count = 0
    require_may_edit(session, record)
    for field, new in values.items():
        old = getattr(record, field)
        if old != new:
            if field not in _WITHOUT_LINE:
                note(session, who, record, Entry(field, old, new, why), bowler)
                count += 1
            setattr(record, field, new)
    return count


def return_to_use(session: Session, who: int, of: type[Base], *ids: int | None) -> None:
    """Puts shops or hardware back in use that were taken back with their card; changes no others, so needs no leave."""
    for record in session.scalars(select(of).where(of.id.in_(ids), of.removed_at.is_not(None))):  # type: ignore[attr-defined]
        revise(session, who, record, {"removed_at": None})


def require_version(session: Session, record: Any, version: int) -> None:
    """Raises ConflictError, with what changed meanwhile, for a form of an older version of the record."""
    if record.version == version:
        return
    latest = list_record_lines(session, record)[:1] if hasattr(record, "id") else []
    who = f"{latest[0].name} changed {describe_field(latest[0].field)}" if latest and latest[0].name else "It changed"
    raise ConflictError(
        f"{who} while you were typing. What you typed is still here: compare it with the record, then save again."
    )


def format_value(value: Any) -> str:
    """Formats a value for the history."""
    if value is None:
        return ""
    if isinstance(value, Fraction):
        return exact(value)
    if isinstance(value, datetime):
        return value.strftime("%Y-%m-%d %H:%M UTC")
    if isinstance(value, list):
        return ", ".join(format_value(v) for v in value)
    text = str(value)
    return text if len(text) <= _LONGEST else text[:_LONGEST] + "…"


def describe_field(field: str) -> str:
    """Formats a column name for people: `span_middle_in` becomes span middle."""
    return (
        field.removesuffix("_in")
        .removesuffix("_id")
        .removesuffix("_at")
        .replace("_deg", " direction")
        .replace("_", " ")
    )


_change, _staff = Change.__table__.c, Staff.__table__.c


class HistoryLine(NamedTuple):
    """What was changed, and by whom."""

    at: datetime
    noun: str
    field: str
    old: str
    new: str
    why: str
    initials: str | None
    name: str | None


Lines = Sequence[HistoryLine]
_LINES = (
    select(*(_change[name] for name in ("at", "noun", "field", "old", "new", "why")), _staff.initials, _staff.name)
    .select_from(Change.__table__.outerjoin(Staff.__table__, _staff.id == _change.staff_id))
    .order_by(_change.id.desc())
)
_OF_NOUN = _LINES.where(_change.noun == bindparam("noun"))
_OF_RECORD = Prepared(_OF_NOUN.where(_change.noun_id == bindparam("noun_id")).limit(constant(200)), HistoryLine)
_is_own = and_(_change.noun == constant("bowler"), _change.noun_id == bindparam("bowler_id"))
_OF_BOWLER = Prepared(
    _LINES.where(or_(_change.bowler_id == bindparam("bowler_id"), _is_own)).limit(constant(100)), HistoryLine
)


def list_record_lines(session: Session, record: Any) -> Lines:
    """Returns the last lines of a record's history, newest first."""
    return _OF_RECORD.fetch(session, noun=record.__tablename__, noun_id=record.id)


def list_noun_lines(session: Session, noun: str, limit: int = 60) -> Lines:
    """Returns the last lines of history of all records of one kind, newest first."""
    return list(map(HistoryLine._make, session.execute(_OF_NOUN.limit(limit), {"noun": noun})))


def ask_bowler_lines(bowler_id: int) -> Asked[HistoryLine]:
    """Returns the query of the last lines of history of a bowler's records, newest first."""
    return _OF_BOWLER.ask(bowler_id=bowler_id)


def list_lines_of_merged(session: Session, bowler_ids: Sequence[int]) -> Lines:
    """Returns the last lines of history of several records that are one bowler, newest first."""
    own = or_(_change.bowler_id.in_(bowler_ids), and_(_change.noun == "bowler", _change.noun_id.in_(bowler_ids)))
    return list(map(HistoryLine._make, session.execute(_LINES.where(own).limit(100))))
