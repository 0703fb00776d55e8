"""A scale keeps its two-way readings without a known mass and with it, and how sure that mass is."""

import sqlalchemy as sa
from alembic import op

revision = "0031"
down_revision = "0030"
branch_labels = None
depends_on = None

COLUMNS = (
    "mass_doubt_oz",
    "mass_step_oz",
    "lift_in",
    "without_first_oz",
    "without_turned_oz",
    "taped_first_oz",
    "taped_turned_oz",
)


def upgrade() -> None:
    with op.batch_alter_table("scale") as batch:
        for name in COLUMNS:
            batch.add_column(sa.Column(name, sa.String(length=64)))


def downgrade() -> None:
    """Loses the exact readings of a calibration; the arm that they led to and the typed texts stay."""
    with op.batch_alter_table("scale") as batch:
        for name in reversed(COLUMNS):
            batch.drop_column(name)
