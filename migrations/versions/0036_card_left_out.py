"""Cards: which inners were left out of an issued card."""

import sqlalchemy as sa
from alembic import op

revision = "0036"
down_revision = "0033"
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table("issued_card", schema=None) as batch_op:
        batch_op.add_column(sa.Column("left_out", sa.JSON(), nullable=False, server_default="[]"))


def downgrade() -> None:
    with op.batch_alter_table("issued_card", schema=None) as batch_op:
        batch_op.drop_column("left_out")
