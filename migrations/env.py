"""Runs migrations against the URL given by the app, or by SPANBOOK_DATABASE_URL for the alembic command."""

from typing import Any

from alembic import context
from sqlalchemy.types import TypeDecorator

from app.db import open_engine
from app.models import Base
from app.settings import Settings


def as_stored(kind: str, item: Any, _context: Any) -> str | bool:
    """Writes our exact numbers and moments into migrations as the plain column type they are stored in."""
    return f"sa.{item.impl!r}" if kind == "type" and isinstance(item, TypeDecorator) else False


url = context.config.attributes.get("url") or Settings().url
engine = open_engine(url, checks_links=False)
try:
    with engine.connect() as connection:
        context.configure(
            connection=connection,
            target_metadata=Base.metadata,
            render_item=as_stored,
            render_as_batch=engine.dialect.name == "sqlite",
        )
        with context.begin_transaction():
            context.run_migrations()
            if engine.dialect.name == "sqlite":
                broken = connection.exec_driver_sql("PRAGMA foreign_key_check").all()
                if broken:
                    raise RuntimeError(f"the migration would leave records that point at nothing: {broken[:3]}")
finally:
    engine.dispose()
