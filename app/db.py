"""The database: engine, migrations, and one transaction a request, committed before the response is sent.

On SQLite reading requests start with BEGIN, writing ones with BEGIN IMMEDIATE behind a queue in the process, because
SQLite's own lock lets some writers starve under load. On PostgreSQL one advisory lock serialises writers: what a
service has read still holds when it saves, without retries; reading requests send no BEGIN there, because each
statement sees a snapshot of its own with it too, and three round trips cost more than a small query. Synchronous FULL
keeps the last save at a power cut. Migrations run without enforced foreign keys, because SQLite rebuilds tables by
dropping them; all are checked before the one commit.
"""

import os
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache, lru_cache, partial
from pathlib import Path
from threading import Lock
from typing import TYPE_CHECKING, Annotated, Any, TypeVar, cast
from urllib.parse import quote

from fastapi import Depends, Request
from sqlalchemy import Connection, Engine, Select, bindparam, create_engine, event, inspect, make_url, select, text
from sqlalchemy.exc import OperationalError
from sqlalchemy.orm import Session, sessionmaker
from sqlalchemy.sql.base import ExecutableOption

from app.errors import InvalidError, NotAllowedError
from app.models import Base, MadeInShop
from app.settings import ROOT

if TYPE_CHECKING:
    import psycopg
    from alembic.config import Config

T = TypeVar("T", bound=Base)
READ_ONLY = {"read_only": True}
READ_AT_ONE_MOMENT = {
    "read_only": True,
    "one_moment": True,
}  # in a transaction on PostgreSQL too, for a cursor or a copy
AT_ONCE = {"at_once": True}  # a writer that fails instead of waiting
_PATIENCE_MS = 10_000  # how long a writer waits before the user gets an error
_IDLE_MS = 30_000  # PostgreSQL then ends an idle transaction, as of a stopped process
_WRITERS_LOCK = 5_904_217  # any number, the same in every process


def open_engine(url: str, checks_links: bool = True) -> Engine:
    """An engine for `url`; SQLite gets WAL, foreign keys, synchronous FULL and explicit BEGIN.

    Without `checks_links` foreign keys are not enforced: a migration that rebuilds a table drops the old one while
    other tables still point at it, and checks the whole database at its end.
    """
    is_sqlite = make_url(url).get_backend_name() == "sqlite"
    own = str(make_url(url).query.get("options", ""))  # options in the URL take precedence over ours
    limits = (
        f"-c lock_timeout={_PATIENCE_MS} -c idle_in_transaction_session_timeout={_IDLE_MS} "
        "-c plan_cache_mode=force_generic_plan"  # it planned every page's queries anew, which took longer than they did
    )
    waits = {} if is_sqlite else {"options": f"{limits} {own}".strip()}
    in_memory = is_sqlite and make_url(url).database in {None, "", ":memory:"}
    # one connection for each serving thread; the one used last knows the plans of most queries
    pool = {} if in_memory else {"pool_size": 20, "max_overflow": 30, "pool_use_lifo": True}
    engine = create_engine(  # psycopg needs no rollback after statements without a transaction
        _make_openable(url), connect_args=waits, skip_autocommit_rollback=not is_sqlite, **pool
    )
    if is_sqlite:
        database = make_url(url).database
        if database and database != ":memory:" and not database.startswith("file:"):
            Path(database).parent.mkdir(parents=True, exist_ok=True)
        event.listen(engine, "connect", partial(_prepare_sqlite, checks_links))
        queue = Lock()
        event.listen(engine, "begin", partial(_begin_sqlite, queue))
        for leaves in ("checkin", "invalidate", "close"):
            event.listen(engine, leaves, partial(_leave_queue, queue))
    else:
        event.listen(engine, "connect", _prepare_postgresql)
        event.listen(engine, "begin", _begin_postgresql)
    return engine


def file_of(url: str) -> Path | None:
    """Returns the file of an SQLite database, links resolved; None for PostgreSQL, memory databases and file: URLs."""
    database = make_url(url).database or ""
    if make_url(url).get_backend_name() != "sqlite" or database in {"", ":memory:"} or database.startswith("file:"):
        return None
    return Path(database).resolve()


def _make_openable(url: str) -> str:
    """Returns a read-only URL for SQLite on a read-only disk, where it could not create its log and would not open."""
    file = file_of(url)
    if file is None or not file.exists() or os.access(file.parent, os.W_OK):
        return url
    log = file.with_name(f"{file.name}-wal")
    whole = "" if log.exists() and log.stat().st_size else "&immutable=1"
    return f"sqlite:///file:{quote(str(file))}?mode=ro{whole}&uri=true"


def _prepare_sqlite(checks_links: bool, connection: Any, _record: Any) -> None:
    connection.isolation_level = None  # we send BEGIN ourselves, see _begin_sqlite
    for pragma in (
        f"busy_timeout={_PATIENCE_MS}",
        "synchronous=FULL",
        "cache_size=-1000",
        f"foreign_keys={checks_links:d}",
    ):
        connection.execute(f"PRAGMA {pragma}")
    try:
        connection.execute("PRAGMA journal_mode=WAL")
    except sqlite3.OperationalError as error:
        if "readonly" not in str(error):  # a read-only file is opened as it is
            raise


def _begin_sqlite(queue: Lock, connection: Connection) -> None:
    """Takes the write lock at BEGIN: SQLite refuses, instead of delaying, a read transaction that writes later.

    Before that, a writer queues with the other writers of this process: SQLite's own lock is not fair, and
    under load some writers would time out.
    """
    if connection.get_execution_options().get("read_only"):
        driver: Any = connection.connection.dbapi_connection  # every reading request begins so and takes no lock
        driver.execute("BEGIN")
        return
    waits_ms = 0 if connection.get_execution_options().get("at_once") else _PATIENCE_MS
    if not connection.info.get("is_writer"):
        if not queue.acquire(timeout=waits_ms / 1000):
            raise OperationalError("BEGIN IMMEDIATE", {}, TimeoutError("the other writers did not come to an end"))
        connection.info["is_writer"] = True
    if waits_ms == _PATIENCE_MS:
        connection.exec_driver_sql("BEGIN IMMEDIATE")
        return
    connection.exec_driver_sql("PRAGMA busy_timeout=0")
    try:
        connection.exec_driver_sql("BEGIN IMMEDIATE")
    finally:
        connection.exec_driver_sql(f"PRAGMA busy_timeout={_PATIENCE_MS}")


def _leave_queue(queue: Lock, _connection: Any, record: Any, *_why: Any) -> None:
    """Releases the queue when a connection returns to the pool or breaks."""
    if record.info.pop("is_writer", False):
        queue.release()


def _prepare_postgresql(connection: "psycopg.Connection", _record: object) -> None:
    """Sends each whole number as one type: by its size, a statement would be another to PostgreSQL, planned anew."""
    from psycopg.types.numeric import Int8Dumper  # noqa: PLC0415 - no SQLite needs it

    connection.adapters.register_dumper(int, Int8Dumper)


def _begin_postgresql(connection: Connection) -> None:
    """Serialises writers by an advisory lock, so that what a service has read still holds when it saves."""
    options = connection.get_execution_options()
    driver = connection.connection.dbapi_connection
    assert driver
    is_without = bool(options.get("read_only")) and not options.get("one_moment")
    if driver.autocommit != is_without:  # to set it takes the driver as long as to look up a row
        driver.autocommit = is_without
    if is_without:
        return
    if options.get("read_only"):
        connection.exec_driver_sql("SET TRANSACTION READ ONLY")
    elif options.get("at_once"):
        if not connection.exec_driver_sql(f"SELECT pg_try_advisory_xact_lock({_WRITERS_LOCK})").scalar():
            raise OperationalError("pg_try_advisory_xact_lock", {}, TimeoutError("somebody else is writing"))
    else:
        connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({_WRITERS_LOCK})")


def upgrade(url: str, to: str = "head") -> None:
    """Migrates the database to this version, or to an older migration; refuses a newer database."""
    engine = open_engine(url)
    try:
        with engine.connect() as connection:
            connection.execution_options(**READ_ONLY)
            if stored_revision(connection) == (revision() if to == "head" else to):
                return
    finally:
        engine.dispose()
    from alembic import command  # noqa: PLC0415 - there is seldom anything to migrate

    command.upgrade(alembic_config(url), to)


def make_tables(url: str) -> None:
    """Makes the tables of this version in an empty database that is thrown away, without its history of migrations."""
    engine = open_engine(url)
    with engine.begin() as connection:
        Base.metadata.create_all(connection)
        connection.exec_driver_sql("CREATE TABLE alembic_version (version_num VARCHAR(32) NOT NULL PRIMARY KEY)")
        connection.exec_driver_sql(f"INSERT INTO alembic_version VALUES ('{revision()}')")
    engine.dispose()


def alembic_config(url: str) -> "Config":
    from alembic.config import Config  # noqa: PLC0415

    config = Config(toml_file=ROOT / "pyproject.toml")
    config.attributes["url"] = url
    return config


class NewerDatabaseError(InvalidError):
    """The database is at a migration that this version does not know."""


def stored_revision(connection: Connection) -> str:
    """Returns the database's migration, "" for an empty one; raises NewerDatabaseError for an unknown one."""
    if not inspect(connection).has_table("alembic_version"):
        return ""
    stored = str(connection.scalar(text("SELECT version_num FROM alembic_version")) or "")
    if stored and stored not in steps():
        raise NewerDatabaseError(
            f"This database is at step {stored}, made by a newer Spanbook; this one knows steps up to {revision()}. "
            "Start the newer one, or restore a copy that this one made. Nothing was changed."
        )
    return stored


def is_up_to_date(connection: Connection) -> bool:
    """Whether the database is at this version's newest migration."""
    try:
        return stored_revision(connection) == revision()
    except NewerDatabaseError:
        return False


@cache
def steps() -> tuple[str, ...]:
    """Returns the migrations of this version, oldest first, by the numbers of their files."""
    return tuple(sorted(p.name.partition("_")[0] for p in (ROOT / "migrations" / "versions").glob("[0-9]*_*.py")))


def revision() -> str:
    """Returns the newest migration of this version."""
    return steps()[-1]


def sessions(engine: Engine) -> sessionmaker[Session]:
    made = sessionmaker(engine, expire_on_commit=False)
    event.listen(made, "before_flush", _before_flush)
    return made


def _before_flush(session: Session, _context: Any, _instances: Any) -> None:
    """Sets the shop that made each new record; refuses writes of reading requests, and of a person with a wrong PIN."""
    if session.connection().get_execution_options().get("read_only"):
        raise RuntimeError("A reading request stores nothing.")
    if session.info.get("is_refused"):
        raise NotAllowedError("The PIN was wrong, so nothing was saved.")
    for record in session.new:
        if isinstance(record, MadeInShop) and record.made_by_shop_id is None:
            record.made_by_shop_id = session.info.get("shop_id")


@contextmanager
def transaction(request: Request) -> Iterator[Session]:
    """Opens one session and one transaction for a request; reading requests never take the write lock."""
    state = request.app.state
    if request.method in {"GET", "HEAD"}:
        with state.sessions(bind=state.reader) as session:
            yield session
    else:
        with state.sessions() as session:
            yield session
            session.commit()


def request_session(request: Request) -> Iterator[Session]:
    with transaction(request) as session:
        yield session


def load_one(session: Session, model: type[T], record_id: int, *options: ExecutableOption) -> T | None:
    """Loads the record of this id with these options, refreshing it if the session holds it already."""
    query = cast("Select[T]", _select_one(model, options))
    found = session.scalars(query, {"record_id": record_id}, execution_options={"populate_existing": True})
    return found.unique().one_or_none()


@lru_cache(maxsize=100)  # building a query takes as long as sending it; callers keep their options
def _select_one(model: type[Base], options: tuple[ExecutableOption, ...]) -> Select[Base]:
    return select(model).where(model.id == bindparam("record_id")).options(*options)  # type: ignore[attr-defined]


DbSession = Annotated[Session, Depends(request_session, scope="function")]
