"""The doubt that a verdict was made with is kept with it; what older verdicts were made with is not known."""

import sqlalchemy as sa
from alembic import op

revision = "0013"
down_revision = "0012"
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table("drilling") as batch:
        batch.add_column(sa.Column("doubt_in", sa.String(64), nullable=True))
        batch.add_column(sa.Column("doubt_freedom", sa.Double(), nullable=True))
        batch.add_column(sa.Column("doubt_source", sa.String(200), nullable=False, server_default=""))


def downgrade() -> None:
    with op.batch_alter_table("drilling") as batch:
        batch.drop_column("doubt_source")
        batch.drop_column("doubt_freedom")
        batch.drop_column("doubt_in")
