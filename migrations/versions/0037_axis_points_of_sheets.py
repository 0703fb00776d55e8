"""axis points of sheets"""

import sqlalchemy as sa
from alembic import op

revision = "0037"
down_revision = "0036"
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table("sheet_row") as batch:
        batch.add_column(sa.Column("axis_point_id", sa.Integer(), nullable=True))
        batch.create_foreign_key(
            batch.f("fk_sheet_row_axis_point_id_axis_point"), "axis_point", ["axis_point_id"], ["id"]
        )
        batch.create_index(batch.f("ix_sheet_row_axis_point_id"), ["axis_point_id"])


def downgrade() -> None:
    with op.batch_alter_table("sheet_row") as batch:
        batch.drop_index(batch.f("ix_sheet_row_axis_point_id"))
        batch.drop_constraint(batch.f("fk_sheet_row_axis_point_id_axis_point"), type_="foreignkey")
        batch.drop_column("axis_point_id")
