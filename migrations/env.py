"""Runs migrations against the URL given by the app, or by SPANBOOK_DATABASE_URL for the alembic command."""

from typing import Any

from alembic import context
from alembic.operations import ops
from alembic.script import ScriptDirectory
from sqlalchemy import Connection
from sqlalchemy.types import TypeDecorator

from app.db import open_engine
from app.models import Base
from app.settings import Settings


def render_type(kind: str, item: Any, _context: Any) -> str | bool:
    """Writes the app's own column types into migrations as the plain types in which they are stored."""
    return f"sa.{item.impl!r}" if kind == "type" and isinstance(item, TypeDecorator) else False


def number_revision(_context: Any, _revision: Any, scripts: list[ops.MigrationScript]) -> None:
    """Gives a new migration the number after the newest one."""
    newest = ScriptDirectory.from_config(context.config).get_current_head()
    for script in scripts:
        script.rev_id = f"{int(newest or 0) + 1:04d}"


def check_links(connection: Connection) -> None:
    """Raises RuntimeError if the migrations leave broken links or a damaged file; runs before they are committed."""
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
            render_item=render_type,
            process_revision_directives=number_revision,
            render_as_batch=engine.dialect.name == "sqlite",
        )
        with context.begin_transaction():
            context.run_migrations()
        check_links(connection)
finally:
    engine.dispose()
