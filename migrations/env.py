"""Runs migrations against the URL given by the app, or by SPANBOOK_DATABASE_URL for the alembic command."""

from typing import Any

from alembic import context
from sqlalchemy import Connection
from sqlalchemy.types import TypeDecorator

from app.db import open_engine
from app.models import Base
from app.settings import Settings


def as_stored(kind: str, item: Any, _context: Any) -> str | bool:
    """Writes our exact numbers and moments into migrations as the plain column type they are stored in."""
    return f"sa.{item.impl!r}" if kind == "type" and isinstance(item, TypeDecorator) else False


def checked(connection: Connection) -> None:
    """RuntimeError where what the migrations leave is not whole; it runs before they are committed."""
    if connection.dialect.name != "sqlite":
        return  # PostgreSQL holds its links at every statement
    broken = [f"{row[0]} points at nothing" for row in connection.exec_driver_sql("PRAGMA foreign_key_check")]
    broken += [row[0] for row in connection.exec_driver_sql("PRAGMA integrity_check") if row[0] != "ok"]
    if broken:
        raise RuntimeError(f"the migration would leave a database that is not whole: {broken[:3]}")


url = context.config.attributes.get("url") or Settings().url
engine = open_engine(url, checks_links=False)
try:
    with engine.begin() as connection:  # begun here, so that all steps and the checks are one transaction
        context.configure(
            connection=connection,
            target_metadata=Base.metadata,
            render_item=as_stored,
            render_as_batch=engine.dialect.name == "sqlite",
        )
        with context.begin_transaction():
            context.run_migrations()
        checked(connection)
finally:
    engine.dispose()
