"""A plan with a failing check keeps the reason for which it was kept."""

import sqlalchemy as sa
from alembic import op

revision = "0012"
down_revision = "0011"
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table("drilling") as batch:
        batch.add_column(sa.Column("planned_reason", sa.String(length=400), nullable=False, server_default=""))
    with op.batch_alter_table("drilling") as batch:
        batch.alter_column("planned_reason", server_default=None)


def downgrade() -> None:
    with op.batch_alter_table("drilling") as batch:
        batch.drop_column("planned_reason")
