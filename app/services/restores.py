"""Replaces the shop's database by a restored one: built beside it, verified, swapped in; the old one is kept.

The next start finishes or undoes a restore that a kill or a power cut interrupted: until the marker file exists,
nothing was replaced and the new file is deleted; once it exists, the swap is completed.
"""

import glob
import json
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from datetime import datetime
from pathlib import Path

from sqlalchemy.exc import DBAPIError

from app import locks
from app.db import file_of
from app.errors import ConflictError, InvalidError
from app.services import backups
from app.services.rebuilds import (
    LOGS,
    describe_failure,
    fill,
    make_one_file,
    name_hidden_file,
    rebuild,
    remove,
    sync_file,
    sync_folder,
)


def restore(url: str, copy: Path) -> Path | None:
    """Replaces the SQLite database by a verified backup; returns the path at which the present file is kept.

    A restore into PostgreSQL needs an empty database: this function never drops a table.
    """
    database = file_of(url)
    if database is None:
        fill(url, copy)
        return None
    with locks.hold_alone(database):
        mend(database)
        return _swap_in(database, lambda ready: rebuild(copy, ready))


def import_lines(url: str, file: Path, needs_end: bool = True) -> dict[str, int]:
    """Imports JSON lines into an empty database, all or nothing; returns the number of rows by table."""
    database = file_of(url)
    if database is None:
        return fill(url, file, needs_end)
    filled: dict[str, int] = {}

    def build(ready: Path) -> None:
        if database.exists():
            with closing(sqlite3.connect(database)) as present, closing(sqlite3.connect(ready)) as made:
                present.backup(made)
        filled.update(fill(f"sqlite:///{ready}", file, needs_end))
        make_one_file(ready)

    with locks.hold_alone(database):
        mend(database)
        _swap_in(database, build, keeps=False)
    return filled


@contextmanager
def hold_in_use(url: str, tell: Callable[[str], object]) -> Iterator[None]:
    """Holds the shared lock for a server or command; finishes or undoes an interrupted restore first."""
    database = file_of(url)
    if database is None:
        yield
        return
    if is_interrupted(database):
        with locks.hold_alone(database):
            tell(mend(database))
    with locks.hold_shared(database):
        yield


def is_interrupted(database: Path) -> bool:
    return _name_marker(database).exists() or any(_list_leftovers(database))


def mend(database: Path) -> str:
    """Finishes or undoes an interrupted restore or import; returns a sentence about it, "" if there was none."""
    if _name_marker(database).exists():
        aside = _finish(database)
        kept = f" What was there before is kept as {aside}." if aside else ""
        return f"A restore or import that was interrupted has been finished.{kept}"
    left = list(_list_leftovers(database))
    for file in left:
        file.unlink(missing_ok=True)
    return "A restore or import that was interrupted has been undone; the database is as it was before." if left else ""


def refuse_leftover_files(url: str, folder: Path) -> None:
    """Raises InvalidError if the database has no shop but files of an older one lie beside it."""
    database = file_of(url)
    if database is None or _holds_a_shop(database):
        return
    older = [p for p in database.parent.glob(f"{glob.escape(database.name)}.before-*") if not p.name.endswith(LOGS)]
    older = sorted(older, reverse=True) + [copy.path for copy in backups.list_backups(folder, url, is_moved=True)]
    if older:
        raise InvalidError(
            f"There is no shop in {database}, but {older[0]} is there. Put it back with “spanbook restore {older[0]}”, "
            "or start an empty shop beside it by saying --new."
        )


# Helpers --------------------------------------------------------------------------------------------------------------


def _name_marker(database: Path) -> Path:
    return database.with_name(f"{database.name}.restoring")


def _list_leftovers(database: Path) -> Iterator[Path]:
    """Yields the temporary files of an interrupted restore beside the database."""
    return database.parent.glob(f".{glob.escape(database.name)}.restored*")


def _swap_in(database: Path, build: Callable[[Path], None], keeps: bool = True) -> Path | None:
    """Builds a database beside this one and swaps it in; a failed build changes nothing."""
    ready = name_hidden_file(database, "restored")
    try:
        database.parent.mkdir(parents=True, exist_ok=True)
        build(ready)
        _fold_log_in(database)
        is_there = any(database.with_name(database.name + ending).exists() for ending in ("", *LOGS))
        aside = _find_free_name(database) if is_there else None
        noted = name_hidden_file(database, "restored-marker")
        noted.write_text(json.dumps({"aside": aside.name if aside else "", "keeps": keeps}))
        sync_file(noted)
        noted.replace(_name_marker(database))
    except (OSError, sqlite3.Error, DBAPIError) as error:
        raise InvalidError(f"That could not be done: {describe_failure(error)}. The database is as it was.") from None
    finally:
        if not _name_marker(database).exists():
            for file in _list_leftovers(database):
                file.unlink(missing_ok=True)
    return _finish(database)


def _fold_log_in(database: Path) -> None:
    """Checkpoints the present database into one file; a damaged one is kept as it is, with its log.

    This also detects a process that has it open without our lock, such as an older version.
    """
    if not database.exists():
        return
    try:
        make_one_file(database)
    except sqlite3.OperationalError as error:
        if error.sqlite_errorcode == sqlite3.SQLITE_BUSY:
            raise ConflictError(f"Another program has {database} open. Stop it first; nothing was changed.") from None
    except (sqlite3.DatabaseError, OSError):
        return


def _find_free_name(database: Path) -> Path:
    name = f"{database.name}.before-{datetime.now():%Y%m%d-%H%M%S}"
    taken = {p.name for p in database.parent.iterdir()}
    number = next(n for n in range(1, len(taken) + 2) if (f"{name}-{n}" if n > 1 else name) not in taken)
    return database.with_name(f"{name}-{number}" if number > 1 else name)


def _finish(database: Path) -> Path | None:
    """Completes a swap from any intermediate state, idempotently; returns the path of the old file."""
    ready, marker = name_hidden_file(database, "restored"), _name_marker(database)
    said = json.loads(marker.read_text())
    aside = database.with_name(said["aside"]) if said["aside"] else None
    if ready.exists():
        if aside:
            for ending in LOGS:  # first, because the logs would corrupt the new file
                log = database.with_name(database.name + ending)
                if log.exists():
                    log.replace(aside.with_name(aside.name + ending))
            _keep(database, aside)
        sync_folder(database.parent)
        ready.replace(database)
        sync_folder(database.parent)
    for file in _list_leftovers(database):
        file.unlink(missing_ok=True)
    if aside and not said["keeps"]:
        remove(aside)
        aside = None
    marker.unlink()
    return aside


def _keep(database: Path, aside: Path) -> None:
    """Gives the present file a second name, by a hard link if the disk supports it, so that it never disappears."""
    if aside.exists() or not database.exists():
        return
    try:
        aside.hardlink_to(database)
    except OSError:
        database.replace(aside)


def _holds_a_shop(database: Path) -> bool:
    """Whether the database has a shop; damage is reported elsewhere."""
    if not database.exists():
        return False
    try:
        with closing(sqlite3.connect(f"{database.as_uri()}?mode=ro", uri=True)) as connection:
            return connection.execute("SELECT 1 FROM staff LIMIT 1").fetchone() is not None
    except sqlite3.OperationalError as error:
        return "no such table" not in str(error)
    except sqlite3.DatabaseError:
        return True
