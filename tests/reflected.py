"""Migrations in the process of tests read each table that they change alone, which takes half as long.

SQLAlchemy reads every table that it links to as well, and theirs, and alembic makes no use of it; test_migrations holds
the tables against those of the app's own migrations.
"""

from functools import partialmethod

from alembic.operations.base import AbstractOperations

WITH_LINKED = AbstractOperations.batch_alter_table


def reflect_alone() -> None:
    alone = partialmethod(WITH_LINKED, reflect_kwargs={"resolve_fks": False})
    setattr(AbstractOperations, "batch_alter_table", alone)  # noqa: B010
