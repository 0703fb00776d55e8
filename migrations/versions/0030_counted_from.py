"""A weighing keeps what the driller typed that its prediction counted from, so that it tells the same later."""

import sqlalchemy as sa
from alembic import op

revision = "0030"
down_revision = "0029"
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table("weighing") as batch:
        batch.add_column(sa.Column("counted_from", sa.JSON()))


def downgrade() -> None:
    """Loses the exact values, so that a weighing tells less of its kind of ball, as before; its typed texts stay."""
    with op.batch_alter_table("weighing") as batch:
        batch.drop_column("counted_from")
