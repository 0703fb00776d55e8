"""The look of a shop's pages: accent colour and picture."""

import sqlalchemy as sa
from alembic import op

revision = "0023"
down_revision = "0022"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("shop", sa.Column("accent", sa.String(length=10), nullable=False, server_default="petrol"))
    op.add_column("shop", sa.Column("picture", sa.LargeBinary()))
    op.add_column("shop", sa.Column("picture_type", sa.String(length=20), nullable=False, server_default=""))


def downgrade() -> None:
    for name in ("picture_type", "picture", "accent"):
        op.drop_column("shop", name)
