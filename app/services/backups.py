"""Copies of the whole database: made while the shop works, checked by a rehearsal, rotated, and put back."""

import gzip
import shutil
import sqlite3
import tempfile
import zlib
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from sqlalchemy import make_url

from app.db import READ_ONLY, open_engine, upgrade
from app.db import revision as head
from app.errors import InvalidError
from app.services import portable

_PREFIX = "spanbook-"


@dataclass(frozen=True)
class Copy:
    """One copy: its file, when it was made, how large it is."""

    path: Path
    made_at: datetime
    size: int


def copies(folder: Path) -> list[Copy]:
    """The copies in a folder, newest first."""
    found = [p for p in folder.glob(f"{_PREFIX}*") if p.suffix in {".db", ".gz"}] if folder.is_dir() else []
    made = [Copy(p, datetime.fromtimestamp(p.stat().st_mtime).astimezone(), p.stat().st_size) for p in found]
    return sorted(made, key=lambda copy: copy.path.name, reverse=True)


def make(url: str, folder: Path, kept: int = 0) -> Path:
    """A copy made while the database may be in use, checked, with the oldest beyond `kept` (0: all stay) removed.

    SQLite is copied by its own backup API; PostgreSQL as JSON lines. A copy that fails its check is removed.
    """
    folder.mkdir(parents=True, exist_ok=True)
    name = f"{_PREFIX}{datetime.now():%Y%m%d-%H%M%S-%f}"
    is_sqlite = make_url(url).get_backend_name() == "sqlite"
    target = folder / (f"{name}.db" if is_sqlite else f"{name}.jsonl.gz")
    partial = target.with_name(f".{target.name}.part")
    try:
        _copy_sqlite(url, partial) if is_sqlite else _copy_lines(url, partial)
        rehearse(partial)
        partial.replace(target)
    except OSError as error:
        raise InvalidError(f"The copy could not be made: {error.strerror}. The database itself is as it was.") from None
    finally:
        partial.unlink(missing_ok=True)
    for old in copies(folder)[kept:] if kept else []:
        old.path.unlink()
    return target


def _copy_sqlite(url: str, target: Path) -> None:
    database = make_url(url).database or ""
    if not Path(database).exists():
        raise InvalidError(f"There is no SQLite database at {database}.")
    source, copy = sqlite3.connect(database, timeout=30), sqlite3.connect(target)
    try:
        source.backup(copy, pages=2000, sleep=0.001)
        copy.execute("PRAGMA journal_mode=DELETE")  # one file, whole by itself
    except sqlite3.DatabaseError as error:
        raise InvalidError(f"The database could not be copied: {error}.") from None
    finally:
        copy.close()
        source.close()


def _copy_lines(url: str, target: Path) -> None:
    engine = open_engine(url)
    try:
        with gzip.open(target, "wt", encoding="utf-8") as file, engine.connect() as connection:
            connection.execution_options(isolation_level="REPEATABLE READ", **READ_ONLY)
            file.writelines(f"{line}\n" for line in portable.exported(connection, head()))
    finally:
        engine.dispose()


def rehearse(copy: Path) -> None:
    """Puts a copy back into a folder of its own and reads it through; InvalidError where anything is wrong with it."""
    with tempfile.TemporaryDirectory(prefix="spanbook-rehearsal-") as folder:
        restored = Path(folder) / "spanbook.db"
        _put_back(copy, restored)
        connection = sqlite3.connect(restored)
        try:
            problems = [row[0] for row in connection.execute("PRAGMA integrity_check") if row[0] != "ok"]
            problems += [f"{row[0]} points at nothing" for row in connection.execute("PRAGMA foreign_key_check")]
        except sqlite3.DatabaseError as error:
            problems = [str(error)]
        finally:
            connection.close()
        if problems:
            raise InvalidError(f"The copy is damaged: {problems[0]}.")
        upgrade(f"sqlite:///{restored}")


def _put_back(copy: Path, database: Path) -> None:
    """Makes an SQLite database of a copy of either kind."""
    if ".jsonl" not in copy.name:
        shutil.copy(copy, database)
        return
    fill(f"sqlite:///{database}", copy)


def fill(url: str, file: Path) -> dict[str, int]:
    """Fills an empty database from a file of JSON lines, compressed or not; answers the rows of each table."""
    upgrade(url)
    opener = gzip.open if ".gz" in file.name else open
    engine = open_engine(url)
    try:
        with opener(file, "rt", encoding="utf-8") as lines, engine.begin() as connection:
            return portable.imported(connection, lines, head())
    except (EOFError, UnicodeDecodeError, gzip.BadGzipFile, zlib.error):
        raise InvalidError("The file is cut short or damaged. Nothing was imported.") from None
    finally:
        engine.dispose()


def restore(url: str, copy: Path) -> Path | None:
    """Puts a checked copy in the place of the SQLite database; the present file is kept aside, and answered.

    PostgreSQL wants an empty database to restore into: nothing of it is ever dropped here.
    """
    rehearse(copy)
    if make_url(url).get_backend_name() != "sqlite":
        fill(url, copy)
        return None
    database = Path(make_url(url).database or "")
    database.parent.mkdir(parents=True, exist_ok=True)
    aside = None
    if database.exists():
        aside = database.with_name(f"{database.name}.before-{datetime.now():%Y%m%d-%H%M%S}")
        for ending in ("", "-wal", "-shm"):
            present = database.with_name(database.name + ending)
            if present.exists():
                present.replace(aside.with_name(aside.name + ending))
    ready = database.with_name(f".{database.name}.restored")
    _put_back(copy, ready)
    ready.replace(database)
    upgrade(url)
    return aside
