"""instrument of a depth observation"""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:

    with op.batch_alter_table("depth_observation", schema=None) as batch_op:
        batch_op.add_column(sa.Column("instrument", sa.String(length=80), nullable=False, server_default=""))


def downgrade() -> None:

    with op.batch_alter_table("depth_observation", schema=None) as batch_op:
        batch_op.drop_column("instrument")
