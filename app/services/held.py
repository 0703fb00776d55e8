"""Everything held on a bowler as people read it: names in the place of ids, exact numbers, moments, nested parts.

It is made from the same rows as the file (`services/personal.py`), so that the page tells no less than the file does;
only the numbers that a step was frozen with are left to the file, and pictures are links.
"""

from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from fractions import Fraction
from typing import Any

from sqlalchemy import Column, Date, Table, select
from sqlalchemy.orm import InstrumentedAttribute, Session

from app.measures.wording import letter_of
from app.models import Ball, Bowler, Fit, Inner, InsertSystem, Shop, Staff
from app.models.base import Exact, Moment
from app.services import changes, personal

_LINES = {  # nouns told as a table
    *("fit holes", "steps", "measurements", "trial fits", "troubles", "ticket moves", "waits", "ball checks"),
    *("parts used", "history"),
}
_LEFT_OUT = {"id", "version", "made_by_shop_id", "phone_digits", "phone_last4", "numbers", "cautions", "reads"}
_CODES = {"what", "obtained", "media_type", "height_set_by", "action"}
_NAMES = {"shop": Shop.name, "staff": Staff.name, "bowler": Bowler.name, "ball": Ball.label, "inner": Inner.label}
_NAMED: dict[str, InstrumentedAttribute[str] | InstrumentedAttribute[int]] = {
    **_NAMES,
    "insert_system": InsertSystem.label,
    "fit": Fit.revision,
}
Value = str | bool | Fraction | datetime | date | int | float
Stored = Any  # a value as the file has it
Nested = Mapping[str, Stored]


@dataclass(frozen=True)
class Row:
    """One record: its number, what it is called, its facts by label, and its parts that are records themselves."""

    number: int
    title: str
    facts: dict[str, Value]
    nested: dict[str, Nested]
    picture: str = ""  # where it is shown


@dataclass(frozen=True)
class Noun:
    """All records of one kind, as cards or as a table with the columns that any of them fills."""

    name: str
    table: Table
    rows: list[Row] = field(default_factory=list)

    @property
    def anchor(self) -> str:
        return f"held-{self.name.replace(' ', '-')}"

    @property
    def is_table(self) -> bool:
        return self.name in _LINES

    @property
    def columns(self) -> list[str]:
        return list(dict.fromkeys(label for row in self.rows for label in row.facts))


def read_held(session: Session, bowler_id: int) -> list[Noun]:
    """Returns everything held on a bowler, by noun; nouns without a record are left out."""
    told = personal.export_bowler(session, bowler_id, has_pictures=False)
    tables = personal.list_tables()
    names = _load_names(session, [(tables[noun], row) for noun, rows in told.items() for row in rows])
    return [
        Noun(noun, tables[noun], [_read_row(tables[noun], row, names) for row in rows])
        for noun, rows in told.items()
        if rows
    ]


Names = Mapping[tuple[str, int], str]


def _load_names(session: Session, rows: list[tuple[Table, Nested]]) -> Names:
    """Returns what the records are called that the rows point at, in one query for each of their tables."""
    wanted: dict[str, set[int]] = defaultdict(set)
    for table, row in rows:
        for column in table.columns:
            target = _find_target(column)
            if target in _NAMED and row[column.name] is not None:
                wanted[target].add(row[column.name])
    names: dict[tuple[str, int], str] = {}
    for target, ids in wanted.items():
        named = _NAMED[target]
        for number, name in session.execute(select(named.class_.id, named).where(named.class_.id.in_(ids))):
            names[(target, number)] = f"fit {letter_of(name)}" if target == "fit" else name
    return names


def _find_target(column: Column[object]) -> str:
    return next((key.column.table.name for key in column.foreign_keys), "")


def _read_row(table: Table, row: Nested, names: Names) -> Row:
    facts: dict[str, Value] = {}
    nested: dict[str, Nested] = {}
    for column in table.columns:
        value = row.get(column.name)  # none of a picture
        is_own = column.name == "bowler_id" and table.name != "change"
        if column.name in _LEFT_OUT or is_own or value in (None, "", [], {}):
            continue
        label = changes.describe_field(column.name)
        if isinstance(value, dict) and column.name != "typed":
            nested[label] = value
        else:
            facts["as typed" if column.name == "typed" else label] = _read_value(column, value, names)
    return Row(row["id"], _name_row(table, row, facts), facts, nested, _find_picture(table, row))


def _find_picture(table: Table, row: Nested) -> str:
    if table.name == "paper_card":
        return f"/moving-in/cards/{row['stack_id']}/{row['number']}/picture" if row["has_picture"] else ""
    return f"/photos/{row['id']}" if table.name == "photo" else ""


def _name_row(table: Table, row: Nested, facts: dict[str, Value]) -> str:
    if table.name == "fit":
        return f"Fit {letter_of(row['revision'])}, {row['hand']} hand"
    named = next((str(facts.pop(label)) for label in ("name", "label", "ball") if label in facts), "")
    return f"{named}, no. {row['id']}" if named else f"no. {row['id']}"


def _read_value(column: Column[object], value: Stored, names: Names) -> Value:
    said: Value = value
    target = _find_target(column)
    if target:
        return names.get((target, value), f"no. {value}")
    if isinstance(value, dict):
        return "; ".join(f"{changes.describe_field(name)} {text}" for name, text in value.items())
    if isinstance(value, list):
        return ", ".join(map(str, value))
    if isinstance(column.type, Exact):
        return Fraction(value)
    if isinstance(column.type, Moment | Date):
        return datetime.fromisoformat(value) if isinstance(column.type, Moment) else date.fromisoformat(value)
    return value.replace("_", " ") if column.name in _CODES else said


def flatten(nested: Nested, before: str = "") -> Iterator[tuple[str, Value]]:
    """Yields (label, value) of every part of a nested record that says something, the outer name first."""
    for name, value in nested.items():
        label = f"{before}{changes.describe_field(name)}"
        if isinstance(value, dict):
            yield from flatten(value, f"{label}, ")
        elif isinstance(value, list) and any(isinstance(part, dict) for part in value):
            for number, part in enumerate(value, 1):
                yield from flatten(part, f"{label} {number}, ")
        elif value not in (None, "", [], 0, 0.0, False):
            yield label, ", ".join(map(str, value)) if isinstance(value, list) else value
