"""Keeps only merged bowlers in their index: of a column nearly all NULL, SQLite's statistics made it scan the table."""

import sqlalchemy as sa
from alembic import op

revision = "0024"
down_revision = "0023"
branch_labels = None
depends_on = None

_NAME = "ix_bowler_merged_into_id"
_MERGED = sa.text("merged_into_id IS NOT NULL")


def upgrade() -> None:
    op.drop_index(_NAME, "bowler")
    op.create_index(_NAME, "bowler", ["merged_into_id"], sqlite_where=_MERGED, postgresql_where=_MERGED)


def downgrade() -> None:
    op.drop_index(_NAME, "bowler")
    op.create_index(_NAME, "bowler", ["merged_into_id"])
