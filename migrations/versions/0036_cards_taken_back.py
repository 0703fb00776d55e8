"""Cards: which inners were left out, and what stayed when a card was taken back; shops and hardware taken back."""

import sqlalchemy as sa
from alembic import op

revision = "0036"
down_revision = "0035"
branch_labels = None
depends_on = None
_LISTS = (("issued_card", "left_out"), ("read_card", "kept"))
_MARKED = ("shop", "insert_system")


def upgrade() -> None:
    for table, column in _LISTS:
        with op.batch_alter_table(table, schema=None) as batch_op:
            batch_op.add_column(sa.Column(column, sa.JSON(), nullable=False, server_default="[]"))
    for table in _MARKED:
        with op.batch_alter_table(table, schema=None) as batch_op:
            batch_op.add_column(sa.Column("removed_at", sa.DateTime(), nullable=True))


def downgrade() -> None:
    """Offers shops and hardware again that were taken back with their card."""
    for table in _MARKED:
        with op.batch_alter_table(table, schema=None) as batch_op:
            batch_op.drop_column("removed_at")
    for table, column in _LISTS:
        with op.batch_alter_table(table, schema=None) as batch_op:
            batch_op.drop_column(column)
