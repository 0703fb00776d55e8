"""A drilling knows which inner was made or fitted in it."""

import sqlalchemy as sa
from alembic import op

revision = "0011"
down_revision = "0010"
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table("drilling") as batch:
        batch.add_column(sa.Column("inner_id", sa.Integer(), nullable=True))
        batch.create_foreign_key(op.f("fk_drilling_inner_id_inner"), "inner", ["inner_id"], ["id"])
        batch.create_index(op.f("ix_drilling_inner_id"), ["inner_id"])


def downgrade() -> None:
    with op.batch_alter_table("drilling") as batch:
        batch.drop_index(op.f("ix_drilling_inner_id"))
        batch.drop_constraint(op.f("fk_drilling_inner_id_inner"), type_="foreignkey")
        batch.drop_column("inner_id")
