"""Logs slow queries, and describes database errors for users.

Constants are part of a statement that is built once: PostgreSQL plans one anew for values that it does not see in it.
"""

import logging
import time
from dataclasses import dataclass
from typing import Any, TypeVar

from sqlalchemy import ColumnElement, Engine, event, literal, literal_column
from sqlalchemy.exc import DBAPIError, OperationalError

log = logging.getLogger("spanbook.queries")
T = TypeVar("T", str, int)


def constant(value: T) -> ColumnElement[T]:
    """A word or number of ours as a part of the statement instead of a value sent with it.

    SQLite plans a statement anew each time it is sent where a value may decide whether a partial index serves.
    """
    return literal_column(f"'{value}'" if isinstance(value, str) else str(value), literal(value).type)


def log_slow_queries(engine: Engine, slow_ms: int) -> None:
    """Logs statements slower than `slow_ms`, without the values they carry."""

    def begin(connection: Any, _cursor: Any, _statement: str, *_more: Any) -> None:
        connection.info["begun"] = time.perf_counter()

    def end(connection: Any, _cursor: Any, statement: str, *_more: Any) -> None:
        took = 1000 * (time.perf_counter() - connection.info["begun"])
        if took >= slow_ms:
            query = " ".join(statement.split())[:400]
            log.warning("slow query", extra={"ms": round(took, 1), "query": query})

    event.listen(engine, "before_cursor_execute", begin)
    event.listen(engine, "after_cursor_execute", end)


@dataclass(frozen=True)
class DatabaseFault:
    """One kind of database error: how it is recognised, its message, and what to do."""

    name: str
    signs: tuple[str, ...]
    status: int
    words: str
    way_on: str


_FAULTS = (
    DatabaseFault(
        "full",
        ("disk is full", "could not extend file", "no space left", "sqlite_ioerr_shmsize"),
        507,
        "The disk is full, so nothing was saved.",
        "Free some space on the machine that runs Spanbook (old backups first), then send this again.",
    ),
    DatabaseFault(
        "read only",
        ("readonly database", "read-only"),
        503,
        "The disk takes no writes, so nothing was saved; looking things up still works.",
        "Check that the disk is not write-protected, then send this again.",
    ),
    DatabaseFault(
        "corrupt",
        ("malformed", "not a database", "disk i/o error"),
        503,
        "The database file is damaged, and Spanbook will not guess.",
        "Stop the server and run “spanbook restore” with the newest copy; the damaged file is kept beside it.",
    ),
    DatabaseFault(
        "value",
        ("numeric value out of range", "value too long", "invalid byte sequence", "out of range"),
        422,
        "The database cannot hold one of those values, so nothing was saved.",
        "Shorten it and send again.",
    ),
)
_BUSY = DatabaseFault(
    "busy", (), 503, "The database did not answer, so nothing was saved.", "Wait a moment, then send this again."
)


def find_fault(error: DBAPIError) -> DatabaseFault | None:
    """Returns the kind of this error, or None for a bug in the app."""
    said = f"{error.orig} {getattr(error.orig, 'sqlite_errorname', '')}".lower()
    known = next((t for t in _FAULTS if any(sign in said for sign in t.signs)), None)
    return known or (_BUSY if isinstance(error, OperationalError) else None)
