"""Copies made under load, put back, and damaged on purpose; everything out as lines and in again, byte for byte."""

import errno
import gzip
import json
import os
import shutil
import sqlite3
import threading
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import Column, func, select

from app import closed_sets
from app.db import READ_ONLY, open_engine, revision, sessions
from app.errors import InvalidError
from app.models import Base, Bowler, BowlerWord, Change
from app.models.base import Exact
from app.schemas.bowlers import BowlerForm
from app.services import backups, bowlers, json_values, portable, restores
from tests.conftest import Databases


def lines_of(url: str) -> list[str]:
    engine = open_engine(url)
    with engine.connect() as connection:
        connection.execution_options(**READ_ONLY)
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


def test_everything_goes_out_and_comes_back_byte_for_byte(
    all_databases: dict[str, Databases], databases: Databases, database_url: str
) -> None:
    """There and back through every kind of database there is here: SQLite alone, or with PostgreSQL in between."""
    lines = lines_of(database_url)
    assert len(lines) > 200
    for other in [*all_databases.values(), databases]:
        there = other.copied(other.empty)
        filled_from(there, lines)
        assert lines_of(there) == lines
        other.drop(there)


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


def write_until(stop: threading.Event, url: str) -> None:
    engine = open_engine(url)
    number = 0
    while not stop.is_set():
        with sessions(engine)() as session:
            form = {"who": "1", "name": f"Load Number{number} {threading.get_ident()}", "hand": "right"}
            bowlers.register(session, BowlerForm.read(form | {"is_somebody_else": "true"}))
            session.commit()
        number += 1
    engine.dispose()


def test_a_copy_made_under_load_restores_to_a_consistent_database(
    databases: Databases, database_url: str, tmp_path: Path
) -> None:
    stop = threading.Event()
    writers = [threading.Thread(target=write_until, args=(stop, database_url)) for _ in range(3)]
    for writer in writers:
        writer.start()
    try:
        copies = [backups.make_backup(database_url, tmp_path / "copies") for _ in range(4)]
    finally:
        stop.set()
        for writer in writers:
            writer.join(30)
    assert len(set(copies)) == 4
    seen: list[int] = []
    for copy in copies:
        url = databases.new() if databases.kind == "postgresql" else f"sqlite:///{tmp_path / 'restored' / copy.name}"
        restores.restore(url, copy)
        engine = open_engine(url)
        with sessions(engine)() as session:
            made = session.scalars(select(func.count()).select_from(Bowler)).one()
            told = session.scalar(
                select(func.count()).select_from(Change).where(Change.noun == "bowler", Change.field == "made")
            )
            indexed = session.scalar(select(func.count(BowlerWord.bowler_id.distinct())))
        engine.dispose()
        databases.drop(url)
        assert made == told == indexed  # a bowler, its history and its words were saved together or not at all
        seen.append(made)
    assert seen == sorted(seen)
    assert seen[-1] > 9


def test_the_oldest_copies_go(database_url: str, tmp_path: Path) -> None:
    made = [backups.make_backup(database_url, tmp_path, kept=2) for _ in range(4)]
    assert [c.path for c in backups.list_backups(tmp_path, database_url)] == [made[3], made[2]]


def damaged(copy: Path) -> None:
    """Turns some bytes over in the middle."""
    body = bytearray(copy.read_bytes())
    for place in range(len(body) // 2, len(body) // 2 + 4000, 7):
        body[place % len(body)] ^= 0xFF
    copy.write_bytes(bytes(body))


def test_a_damaged_copy_is_refused_and_the_present_database_stays(
    databases: Databases, database_url: str, tmp_path: Path
) -> None:
    copy = backups.make_backup(database_url, tmp_path)
    damaged(copy)
    before = lines_of(database_url)
    with pytest.raises((InvalidError, OSError, gzip.BadGzipFile, EOFError)):
        restores.restore(database_url, copy)
    assert lines_of(database_url) == before


def test_restoring_keeps_the_present_file_aside(all_databases: dict[str, Databases], tmp_path: Path) -> None:
    sqlite = all_databases["sqlite"]
    url = sqlite.copied(sqlite.demo)
    copy = backups.make_backup(url, tmp_path)
    path = Path(url.removeprefix("sqlite:///"))
    path.write_bytes(b"this is no database any more, the disk has turned it over" * 100)
    aside = restores.restore(url, copy)
    assert aside is not None
    assert aside.read_bytes().startswith(b"this is no database")
    assert len(lines_of(url)) > 200
    with sqlite3.connect(path) as restored:
        assert restored.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    restored.close()


def test_a_copy_without_a_database_says_so(tmp_path: Path) -> None:
    with pytest.raises(InvalidError, match="no SQLite database"):
        backups.make_backup(f"sqlite:///{tmp_path / 'none.db'}", tmp_path / "copies")
    assert not (tmp_path / "copies").exists()


def test_a_copy_that_finds_no_space_says_so_and_leaves_nothing(
    all_databases: dict[str, Databases], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The disk fills while the copy is put back in its rehearsal: a real error number, raised where copying writes."""
    sqlite = all_databases["sqlite"]

    def full(*_paths: object) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(shutil, "copyfile", full)
    with pytest.raises(InvalidError, match="No space left on device"):
        backups.make_backup(sqlite.demo, tmp_path)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(("table", "column"), closed_sets.COLUMNS)
def test_a_value_outside_a_closed_set_is_never_imported(table: str, column: str) -> None:
    of = Base.metadata.tables[table].c[column]
    spoiled = ["root"] if column in {"scopes", "reads"} else "root"
    with pytest.raises(InvalidError, match=f"root.*is no value of {table}.{column}".replace("_", " ")):
        json_values.from_json(of, spoiled)


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
            read = portable._row(column.table, {c.name: None for c in column.table.columns} | {column.name: spoiled}, 2)
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
