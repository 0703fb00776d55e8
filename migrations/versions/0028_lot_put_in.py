"""A step of a drilling keeps which lot of a part was put in at it."""

import sqlalchemy as sa
from alembic import op

revision = "0028"
down_revision = "0027"
branch_labels = None
depends_on = None

_KEY = "fk_drilling_step_part_id_part"


def upgrade() -> None:
    with op.batch_alter_table("drilling_step") as batch:
        batch.add_column(sa.Column("part_id", sa.Integer()))
        batch.create_foreign_key(_KEY, "part", ["part_id"], ["id"])


def downgrade() -> None:
    """Loses which lot a step still open to be drilled was to be counted from: it is counted as before."""
    with op.batch_alter_table("drilling_step") as batch:
        batch.drop_constraint(_KEY, type_="foreignkey")
        batch.drop_column("part_id")
