"""Backups of the whole database: made while the app runs, verified by a test restore, rotated, and scheduled.

A backup of SQLite is a file, a backup of PostgreSQL an export as JSON lines. Each is restored into an SQLite file,
checked and migrated before it counts as a backup.
"""

import hashlib
import logging
import re
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from threading import Event

from sqlalchemy import make_url, text
from sqlalchemy.exc import DBAPIError

from app import locks
from app.db import READ_ONLY, file_of, open_engine, stored_revision
from app.errors import ConflictError, InvalidError, ShopError
from app.services.rebuilds import (
    describe_failure,
    export_from,
    name_hidden_file,
    rebuild,
    remove,
    sync_file,
    sync_folder,
    write_into,
)
from app.settings import Settings

_NAME = re.compile(r"spanbook-(?P<whose>\w+\.[0-9a-f]{8})-(?P<number>\d{6,})-(?P<at>\d{8}T\d{6})Z\.(db|jsonl\.gz)")
_OLD_NAME = re.compile(
    r"spanbook-\d{8}-\d{6}-\d{6}\.(db|jsonl\.gz)"
)  # names of older versions, without the database's prefix
_AHEAD = timedelta(hours=1)  # a copy dated later than this was made by a clock that ran ahead
log = logging.getLogger("spanbook")


@dataclass(frozen=True)
class Backup:
    """One backup: its file, its number for this database, its time and its size."""

    path: Path
    number: int
    made_at: datetime
    size: int


def name_backups_of(url: str) -> str:
    """Returns the file name prefix of a database's backups: its name and a hash of its location."""
    parts, file = make_url(url), file_of(url)
    place = str(file) if file else f"{parts.host}:{parts.port}/{parts.database}"
    name = re.sub(r"\W", "_", file.stem if file else parts.database or "shop")
    return f"{name}.{hashlib.sha256(place.encode()).hexdigest()[:8]}"


def list_backups(folder: Path, url: str, is_moved: bool = False) -> list[Backup]:
    """Returns the backups of this database in a folder, highest number first, because a clock may run ahead.

    Files without a database's prefix come last. A database that may have moved shares its backups with
    every database of its name.
    """
    whose = name_backups_of(url).partition(".")[0] + "." if is_moved else name_backups_of(url)
    found = [_read_backup(p, whose) for p in folder.glob("spanbook-*")] if folder.is_dir() else []
    made = [copy for copy in found if copy]
    return sorted(made, key=lambda copy: (copy.number, copy.path.name), reverse=True)


def _read_backup(path: Path, whose: str) -> Backup | None:
    named, is_old = _NAME.fullmatch(path.name), _OLD_NAME.fullmatch(path.name)
    if not is_old and (not named or whose not in {named["whose"], named["whose"].partition(".")[0] + "."}):
        return None
    try:
        stored = path.stat()
    except OSError:  # a dangling link, or deleted since the folder was read
        return None
    if not named:
        return Backup(path, 0, datetime.fromtimestamp(stored.st_mtime).astimezone(), stored.st_size)
    made_at = datetime.strptime(named["at"], "%Y%m%dT%H%M%S").replace(tzinfo=UTC)
    return Backup(path, int(named["number"]), made_at, stored.st_size)


def make_backup(url: str, folder: Path, kept: int = 0) -> Path:
    """Makes and verifies a backup while the database may be in use, and deletes the oldest beyond `kept` (0: keep all).

    SQLite is copied in one read transaction, which neither blocks writers nor restarts at a write; PostgreSQL is
    exported. A backup that fails verification is deleted. Raises InvalidError, or ConflictError during another backup.
    """
    try:
        _require_known(url)
        with _lock_folder(url):
            folder.mkdir(parents=True, exist_ok=True)
            return _make_backup(url, folder, kept)
    except (OSError, sqlite3.Error, DBAPIError) as error:
        raise InvalidError(
            f"The copy could not be made: {describe_failure(error)}. The database itself is as it was."
        ) from None


def _make_backup(url: str, folder: Path, kept: int) -> Path:
    number = max((copy.number for copy in list_backups(folder, url)), default=0) + 1
    database = file_of(url)
    ending = "db" if database else "jsonl.gz"
    target = folder / f"spanbook-{name_backups_of(url)}-{number:06}-{datetime.now(UTC):%Y%m%dT%H%M%SZ}.{ending}"
    partial, rehearsal = name_hidden_file(target, "part"), name_hidden_file(target, "rehearsal.part")
    for left in folder.glob(f".spanbook-{name_backups_of(url)}-*.part*"):
        left.unlink(missing_ok=True)
    try:
        if database:
            _copy_file(database, partial)
        else:
            write_into(partial, export_from(url))
        rebuild(partial, rehearsal)
        sync_file(partial)
        partial.replace(target)
        sync_folder(folder)
    finally:
        remove(partial)
        remove(rehearsal)
    own = [copy for copy in list_backups(folder, url) if copy.number]
    for old in own[max(kept, 1) :] if kept else []:
        old.path.unlink(missing_ok=True)
    return target


def _require_known(url: str) -> None:
    database = file_of(url)
    if database and not database.exists():
        raise InvalidError(f"There is no SQLite database at {database}.")
    engine = open_engine(url)
    try:
        with engine.connect() as connection:
            connection.execution_options(**READ_ONLY)
            stored_revision(connection)
    finally:
        engine.dispose()


@contextmanager
def _lock_folder(url: str) -> Iterator[None]:
    """Holds the lock of the backup folder: unfinished files in it belong to no running process."""
    database = file_of(url)
    if database:
        with locks.hold_for_backup(database):
            yield
        return
    engine = open_engine(url)
    try:
        with engine.connect() as connection:
            connection.execution_options(**READ_ONLY)
            if not connection.scalar(text("SELECT pg_try_advisory_lock(hashtext('spanbook copy'))")):
                raise ConflictError("A copy is being made at this moment; it will be there in a while.")
            connection.commit()  # the lock is the connection's, not the transaction's
            yield
    finally:
        engine.dispose()


def _copy_file(database: Path, target: Path) -> None:
    with closing(sqlite3.connect(database, timeout=30)) as source, closing(sqlite3.connect(target)) as copy:
        source.backup(copy)  # all pages in one step: one snapshot, whatever is written meanwhile
        copy.execute("PRAGMA journal_mode=DELETE")  # a complete file without a log


# By themselves --------------------------------------------------------------------------------------------------------


def describe_lateness(settings: Settings, now: datetime | None = None) -> str:
    """Returns a warning when the last good backup is older than twice the interval, else ""."""
    newest = next(iter(list_backups(settings.backups, settings.url)), None)
    if newest is None:
        return "There is no copy of this shop yet. If this disk dies, everything is gone."
    age = (now or datetime.now(UTC)) - newest.made_at
    if -_AHEAD < age < timedelta(hours=2 * (settings.backup_hours or 24)):
        return ""
    return f"The last good copy of this shop is of {newest.made_at.astimezone():%Y-%m-%d %H:%M}: too old to rely on."


class BackupThread:
    """Makes scheduled backups while the server runs; an error is logged and the backup retried later."""

    def __init__(self, settings: Settings, pause: float = 60) -> None:
        self.settings = settings
        self.pause = pause
        self.failures = 0
        self.warning = ""  # shown to the owner

    def run(self, ended: Event) -> None:
        while True:
            self.back_up_if_due()
            if ended.wait(min(self.pause * 2**self.failures, 1800)):
                return

    def back_up_if_due(self) -> None:
        """Makes a backup if the newest is older than the configured interval, or dated in the future."""
        try:
            if self._is_due():
                made = make_backup(self.settings.url, self.settings.backups, self.settings.backups_kept)
                log.info("backup", extra={"backup": made.name})
            self.failures, self.warning = 0, describe_lateness(self.settings)
        except ConflictError:  # another process is making one
            self.failures = 0
        except Exception as error:  # if the thread ended, all backups would stop unnoticed
            self.failures = min(self.failures + 1, 10)
            words = error.message if isinstance(error, ShopError) else type(error).__name__
            log.error("backup", extra={"backup": "failed", "why": type(error).__name__, "words": words})
            self.warning = f"Copies fail: {words}"

    def _is_due(self) -> bool:
        newest = next(iter(list_backups(self.settings.backups, self.settings.url)), None)
        if newest is None:
            return True
        age = datetime.now(UTC) - newest.made_at
        return age > timedelta(hours=self.settings.backup_hours) or age < -_AHEAD
