"""Everything out as lines and in again, byte for byte; lines that were cut, changed or hold hostile values."""

import json
import random
from collections.abc import Callable
from datetime import date
from fractions import Fraction
from typing import Any

import pytest
from sqlalchemy import Column
from sqlalchemy.orm import Session

from app.db import READ_AT_ONE_MOMENT, open_engine, revision, sessions
from app.errors import InvalidError
from app.models import Ball, Bowler, Drilling, Fit, OldHole
from app.models.base import Exact
from app.schemas.bowlers import BowlerForm
from app.schemas.taken_back import OwnerForm, TakingBackForm
from app.services import bowlers, owner_changes, portable, taken_back
from tests.conftest import Databases
from tests.services.test_partings import add_plain, merge, part


def lines_of(url: str) -> list[str]:
    engine = open_engine(url)
    with engine.connect() as connection:
        connection.execution_options(**READ_AT_ONE_MOMENT)
        lines = list(portable.export_lines(connection, revision()))
    engine.dispose()
    return lines


def filled_from(url: str, lines: list[str]) -> None:
    engine = open_engine(url)
    try:
        with engine.begin() as connection:
            portable.import_lines(connection, portable.LineReader(lines))
    finally:
        engine.dispose()


def add_old_hole(url: str) -> None:
    """Gives a ball a plug that was cured on a day, and something unknown."""
    engine = open_engine(url)
    with sessions(engine)() as session, session.begin():
        session.add(
            OldHole(
                ball_id=1, digit="finger", label="ring", along_in=Fraction(155, 64), across_in=Fraction(-1, 3),
                cut_in=Fraction(31, 32), depth_in=None, state="filled", filling="resin", drill_from=date(2026, 1, 4),
            )
        )  # fmt: skip
    engine.dispose()


def test_everything_goes_out_and_comes_back_byte_for_byte(
    all_databases: dict[str, Databases], databases: Databases, database_url: str
) -> None:
    """There and back through every kind of database there is here: SQLite alone, or with PostgreSQL in between."""
    add_old_hole(database_url)
    lines = lines_of(database_url)
    assert len(lines) > 200
    assert any('"table": "old_hole"' in line for line in lines)
    for other in [*all_databases.values(), databases]:
        there = other.copied(other.empty)
        filled_from(there, lines)
        assert lines_of(there) == lines
        other.drop(there)


def test_what_was_taken_back_goes_out_and_comes_back_byte_for_byte(
    all_databases: dict[str, Databases], databases: Databases, database_url: str
) -> None:
    """A merger with all that it keeps, a parted one, a ball sold, a plan called off, a draft discarded, one removed."""
    engine = open_engine(database_url)
    with sessions(engine)() as session, session.begin():
        take_everything_back(session)
    engine.dispose()
    lines = lines_of(database_url)
    assert {"merger", "owner_change"} <= {json.loads(line).get("table") for line in lines}
    for other in [*all_databases.values(), databases]:
        there = other.copied(other.empty)
        filled_from(there, lines)
        assert lines_of(there) == lines
        other.drop(there)


def take_everything_back(session: Session) -> None:
    one, other, spare = add_plain(session, "Ana Quill"), add_plain(session, "Anna Quill"), add_plain(session, "X Y")
    part(session, merge(session, one, other, random.Random(1)))
    merge(session, session.get_one(Bowler, 1), session.get_one(Bowler, 4), random.Random(2))
    form = {"who": "1", "why": "a mistake"}
    sold = session.get_one(Ball, 1)
    owner_changes.move_ball(session, 1, OwnerForm.read(form | {"to_id": "2", "version": str(sold.version)}))
    for act, record in (
        (taken_back.remove_bowler, session.get_one(Bowler, spare.id)),
        (taken_back.call_off, session.get_one(Drilling, 3)),
        (taken_back.discard_fit, session.get_one(Fit, 2)),
    ):
        act(session, record.id, TakingBackForm.read(form | {"version": str(record.version)}))


def test_records_made_after_an_import_are_numbered_on(databases: Databases, database_url: str, empty_url: str) -> None:
    filled_from(empty_url, lines_of(database_url))
    engine = open_engine(empty_url)
    with sessions(engine)() as session:
        form = BowlerForm.read({"who": "1", "name": "Orla Fenn", "hand": "right"})
        assert bowlers.register(session, form).id == 10
        session.commit()
    engine.dispose()


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (lambda lines: ['{"spanbook": 1, "tables": "0001"}', *lines[1:]], "without-end"),
        (lambda lines: ['{"spanbook": 3, "tables": "0001"}', *lines[1:]], "a newer one did"),
        (lambda lines: [*lines[:9], lines[9][:40]], "cut short or damaged"),
        (lambda lines: lines[:-1], "cut short: its end is missing after line"),
        (lambda lines: lines[:9], "its end is missing after line 9"),
        (lambda lines: [*lines[:9], *lines[10:]], "changed or damaged"),
        (lambda lines: [line.replace("Tadeo", "Tadeu") for line in lines], "changed or damaged"),
        (lambda lines: [*lines[:-1], '{"row": {}, "table": "sqlite_master"}'], "names no table of ours"),
        (lambda lines: [*lines, lines[-2]], "lines after the end"),
        (lambda lines: [*lines[:-1], "[1]"], "is not a record"),
        (lambda lines: [], "not lines that Spanbook wrote"),
    ],
)
def test_lines_that_cannot_be_taken_leave_the_database_empty(
    database_url: str, empty_url: str, spoil: Callable[[list[str]], list[str]], words: str
) -> None:
    with pytest.raises(InvalidError, match=words):
        filled_from(empty_url, spoil(lines_of(database_url)))
    assert len(lines_of(empty_url)) == 2  # head and end


def test_an_import_never_mixes_into_records_that_are_there(database_url: str) -> None:
    before = lines_of(database_url)
    with pytest.raises(InvalidError, match="not empty"):
        filled_from(database_url, before)
    assert lines_of(database_url) == before


@pytest.mark.parametrize("role", ["root", "Owner", "", 1, ["owner"]])
def test_an_imported_role_is_one_of_ours_or_nothing_is_imported(
    database_url: str, empty_url: str, role: int | list[str] | str
) -> None:
    lines = lines_of(database_url)
    at = next(i for i, line in enumerate(lines) if '"table": "staff"' in line)
    said = json.loads(lines[at])
    lines[at] = json.dumps(said | {"row": said["row"] | {"role": role}}, sort_keys=True, ensure_ascii=False)
    before = lines_of(empty_url)
    with pytest.raises(InvalidError, match=r"is no value of staff\.role"):
        filled_from(empty_url, lines)
    assert lines_of(empty_url) == before


SPOILED = ("zzz" * 2000, "a\0b", "1/0", "1e9", "2026-01-01", ["x"], {"a": {"b": 1}}, -7, 10**30, 1.5, True)


@pytest.mark.parametrize("column", [c for t in portable.list_tables() for c in t.columns], ids=str)
def test_a_value_of_another_type_is_never_imported(column: Column[Any]) -> None:
    """Whatever passes is what the column's own type holds, so that no stored row can break a page for good."""
    types: dict[type, type | tuple[type, ...]] = {
        str: str,
        int: int,
        bool: bool,
        float: (int, float),
        bytes: bytes,
        dict: (dict, list),
    }
    wanted = types.get(column.type.python_type, column.type.python_type)
    for spoiled in SPOILED:
        try:
            read = portable._parse_row(
                column.table, {c.name: None for c in column.table.columns} | {column.name: spoiled}, 2
            )
        except InvalidError:
            continue
        value = read[column.name]
        assert isinstance(value, Fraction if isinstance(column.type, Exact) else wanted)
        assert not isinstance(value, bool) or wanted is bool
        longest = getattr(column.type, "length", None)
        assert longest is None or len(str(value)) <= longest


@pytest.mark.parametrize(
    ("table", "column", "spoiled"),
    [("bowler", "version", "zzz"), ("fit", "typed", ["x"]), ("drilling", "plan", "zzz"), ("bowler", "name", 10**30)],
)
def test_a_hostile_value_leaves_the_database_empty(
    database_url: str, empty_url: str, table: str, column: str, spoiled: int | list[str] | str
) -> None:
    lines = lines_of(database_url)
    at = next(i for i, line in enumerate(lines) if f'"table": "{table}"' in line)
    said = json.loads(lines[at])
    lines[at] = json.dumps(said | {"row": said["row"] | {column: spoiled}}, sort_keys=True, ensure_ascii=False)
    before = lines_of(empty_url)
    with pytest.raises(InvalidError, match=f"holds a value that {table} cannot"):
        filled_from(empty_url, lines)
    assert lines_of(empty_url) == before
