"""Writes export files atomically, and rebuilds and verifies databases from backups and exports."""

import gzip
import os
import shutil
import sqlite3
import tempfile
import zlib
from collections.abc import Iterable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path

from sqlalchemy import Connection
from sqlalchemy.exc import DBAPIError

from app.db import READ_AT_ONE_MOMENT, file_of, open_engine, revision, steps, stored_revision, upgrade
from app.errors import InvalidError
from app.queries import find_fault
from app.services import portable

LOGS = ("-wal", "-shm", "-journal")


def describe_failure(error: OSError | sqlite3.Error | DBAPIError) -> str:
    """Describes an error of the disk or the database in a few words."""
    if isinstance(error, OSError):
        return error.strerror or str(error)
    told = find_fault(error if isinstance(error, DBAPIError) else DBAPIError(None, None, error))
    return told.words.rstrip(".").partition(",")[0] if told else str(getattr(error, "orig", error))


# Files ----------------------------------------------------------------------------------------------------------------


def name_hidden_file(file: Path, ending: str) -> Path:
    """Returns the path of a hidden temporary file next to this one."""
    return file.with_name(f".{file.name}.{ending}")


def remove(database: Path) -> None:
    """Deletes an SQLite file with its write-ahead log."""
    for ending in ("", *LOGS):
        database.with_name(database.name + ending).unlink(missing_ok=True)


def sync_file(file: Path) -> None:
    """Flushes a file and its folder to disk, so that both survive a power cut."""
    with file.open("rb+") as opened:
        os.fsync(opened.fileno())
    sync_folder(file.parent)


def sync_folder(folder: Path) -> None:
    if os.name == "posix":  # other systems cannot open folders and need no flush
        opened = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(opened)
        finally:
            os.close(opened)


def write_lines(file: Path, lines: Iterable[str]) -> None:
    """Writes lines to a temporary file and renames it when it is complete."""
    if file.exists() and not file.is_file():  # a pipe or a device has no folder for a temporary file
        write_into(file, lines)
        return
    partial = name_hidden_file(file, "part")
    try:
        write_into(partial, lines)
        sync_file(partial)
        partial.replace(file)
        sync_folder(file.parent)
    except OSError as error:
        raise InvalidError(
            f"{file} could not be written: {describe_failure(error)}. What was there is as it was."
        ) from None
    finally:
        partial.unlink(missing_ok=True)


def write_into(file: Path, lines: Iterable[str]) -> None:
    """Writes lines into the file, compressed if its name ends so."""
    if ".gz" in file.name:
        with gzip.open(file, "wt", encoding="utf-8", newline="\n") as packed:
            packed.writelines(f"{line}\n" for line in lines)
    else:
        with file.open("w", encoding="utf-8", newline="\n") as opened:
            opened.writelines(f"{line}\n" for line in lines)


def export_from(url: str) -> Iterator[str]:
    """Yields the exported lines of the database at this URL."""
    engine = open_engine(url)
    try:
        with engine.connect() as connection:
            yield from export_whole(connection)
    finally:
        engine.dispose()


def export_whole(connection: Connection) -> Iterator[str]:
    """Yields the exported lines of a database at any migration, in one snapshot."""
    more = {"isolation_level": "REPEATABLE READ"} if connection.dialect.name == "postgresql" else {}
    connection.execution_options(**READ_AT_ONE_MOMENT, **more)
    step = stored_revision(connection)
    if not step:
        raise InvalidError("There are no tables in this database yet.")
    return portable.export_lines(connection, step, portable.list_tables_at(connection, step))


# Databases made anew --------------------------------------------------------------------------------------------------


def rebuild(copy: Path, database: Path) -> None:
    """Rebuilds an SQLite database from a backup of either kind: one complete file at the newest migration.

    Raises InvalidError for a truncated, changed, damaged or newer backup, and then leaves no file behind.
    """
    remove(database)
    try:
        if ".jsonl" in copy.name:
            fill(f"sqlite:///{database}", copy)
        else:
            shutil.copyfile(copy, database)
            log = copy.with_name(f"{copy.name}-wal")
            if log.exists():  # a database kept aside is read with its log
                shutil.copyfile(log, database.with_name(f"{database.name}-wal"))
        check_database(database)
        upgrade(f"sqlite:///{database}")
        make_one_file(database)
    except BaseException:
        remove(database)
        raise


def check_database(database: Path) -> None:
    """Raises InvalidError if SQLite finds the file damaged, or if it is no database of this app."""
    with closing(sqlite3.connect(database)) as connection:
        try:
            problems = [row[0] for row in connection.execute("PRAGMA integrity_check") if row[0] != "ok"]
            problems += [f"{row[0]} points at nothing" for row in connection.execute("PRAGMA foreign_key_check")]
            if not connection.execute("SELECT 1 FROM sqlite_master WHERE name = 'alembic_version'").fetchone():
                problems.append("Spanbook did not make it")
        except sqlite3.DatabaseError as error:
            problems = [str(error)]
    if problems:
        raise InvalidError(f"The copy is damaged: {problems[0]}.")


def make_one_file(database: Path) -> None:
    """Checkpoints the write-ahead log into the file, deletes the log and flushes the file to disk."""
    with closing(sqlite3.connect(database, timeout=0)) as connection:
        connection.execute("PRAGMA journal_mode=DELETE")
    sync_file(database)


def fill(url: str, file: Path, needs_end: bool = True) -> dict[str, int]:
    """Imports a file of JSON lines, compressed or not, into an empty database; returns the number of rows by table.

    Lines of an older migration are imported into a database of that migration, which is then upgraded. Compressed lines
    need no end mark, because the compression has its own.
    """
    is_packed = ".gz" in file.name
    try:
        with (gzip.open if is_packed else open)(file, "rt", encoding="utf-8") as lines:
            reading = portable.LineReader(lines, needs_end and not is_packed)
            upgrade(url)
            return _fill(url, reading)
    except (EOFError, UnicodeDecodeError, gzip.BadGzipFile, zlib.error):
        raise InvalidError("The file is cut short or damaged. Nothing was imported.") from None


def _fill(url: str, reading: portable.LineReader) -> dict[str, int]:
    if reading.revision not in steps():
        raise InvalidError(
            f"These lines are of step {reading.revision}, which a newer Spanbook wrote; this one knows steps up to "
            f"{revision()}. Nothing was imported."
        )
    if reading.revision == revision():
        return _import_into(url, reading)
    with _make_scratch(url) as step:
        upgrade(step, reading.revision)
        _import_into(step, reading)
        upgrade(step)
        return _import_into(url, portable.LineReader(export_from(step)))


def _import_into(url: str, reading: portable.LineReader) -> dict[str, int]:
    engine = open_engine(url, checks_links=reading.revision == revision())
    try:
        with engine.begin() as connection:
            into = portable.list_tables_at(connection, reading.revision)
            if reading.revision != revision():  # rows that migrations insert are also in the lines
                for table in reversed(into):
                    connection.execute(table.delete())
            return portable.import_lines(connection, reading, into)
    finally:
        engine.dispose()


@contextmanager
def _make_scratch(url: str) -> Iterator[str]:
    """Yields the URL of a temporary SQLite database next to the target, where the disk space is."""
    database = file_of(url)
    with tempfile.TemporaryDirectory(prefix="spanbook-step-") as folder:
        place = Path(folder) / "step.db" if database is None else database.with_name(f"{database.name}-step")
        try:
            yield f"sqlite:///{place}"
        finally:
            remove(place)
