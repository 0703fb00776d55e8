"""Locks on the database file: shared by servers and commands, exclusive for commands that replace the file.

The lock is SQLite's own, on an empty file beside the database: it works on every system and is released when its
process ends, even if the process is killed.
"""

import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

from app.errors import ConflictError


@contextmanager
def hold_shared(database: Path) -> Iterator[None]:
    """Holds the shared lock: others may use the file, nobody may replace it; raises ConflictError."""
    refusal = f"{database} is being restored or imported at this moment. Wait for that to end, then start again."
    with _hold(database.with_name(f"{database.name}.lock"), "BEGIN", refusal):
        yield


@contextmanager
def hold_alone(database: Path) -> Iterator[None]:
    """Holds the exclusive lock; raises ConflictError if a server or a command uses the file."""
    refusal = (
        f"A server or another command has {database} open. Stop it first, then do this again; nothing was changed."
    )
    with _hold(database.with_name(f"{database.name}.lock"), "BEGIN EXCLUSIVE", refusal):
        yield


@contextmanager
def hold_for_backup(database: Path) -> Iterator[None]:
    """Holds the lock of backups; raises ConflictError while another process makes one."""
    refusal = "A copy is being made at this moment; it will be there in a while."
    with _hold(database.with_name(f"{database.name}.copying"), "BEGIN EXCLUSIVE", refusal):
        yield


@contextmanager
def _hold(lock: Path, begin: str, refusal: str) -> Iterator[None]:
    """Holds a lock; on a read-only disk, where no file can be replaced, does nothing."""
    try:
        lock.parent.mkdir(parents=True, exist_ok=True)
        connection = sqlite3.connect(lock, isolation_level=None, timeout=0, check_same_thread=False)
    except (OSError, sqlite3.OperationalError):
        yield
        return
    with closing(connection):
        try:
            connection.execute("PRAGMA journal_mode=MEMORY")  # nothing is ever written
            connection.execute(begin)
            connection.execute("SELECT count(*) FROM sqlite_master").fetchone()
        except sqlite3.OperationalError as error:
            if error.sqlite_errorcode == sqlite3.SQLITE_BUSY:
                raise ConflictError(refusal) from None
        yield
