"""The drilling bench: steps of a drilling, its confirmation, routes and stock of systems, safe depth of balls."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "drilling_step",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("drilling_id", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("action", sa.String(length=30), nullable=False),
        sa.Column("hole", sa.String(length=12), nullable=False),
        sa.Column("words", sa.String(length=300), nullable=False),
        sa.Column("numbers", sa.JSON(), nullable=False),
        sa.Column("cautions", sa.JSON(), nullable=False),
        sa.Column("is_cut", sa.Boolean(), nullable=False),
        sa.Column("reads", sa.JSON(), nullable=False),
        sa.Column("ticked_at", sa.DateTime(), nullable=True),
        sa.Column("staff_id", sa.Integer(), nullable=True),
        sa.Column("met_depth_in", sa.String(length=64), nullable=True),
        sa.Column("met_datum", sa.String(length=10), nullable=False),
        sa.Column("met_bit", sa.String(length=40), nullable=False),
        sa.Column("note", sa.String(length=400), nullable=False),
        sa.Column("typed", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(["drilling_id"], ["drilling.id"], name=op.f("fk_drilling_step_drilling_id_drilling")),
        sa.ForeignKeyConstraint(["staff_id"], ["staff.id"], name=op.f("fk_drilling_step_staff_id_staff")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_drilling_step")),
        sa.UniqueConstraint("drilling_id", "position", name=op.f("uq_drilling_step_drilling_id_position")),
    )
    with op.batch_alter_table("drilling_step", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_drilling_step_drilling_id"), ["drilling_id"], unique=False)

    with op.batch_alter_table("ball", schema=None) as batch_op:
        batch_op.add_column(sa.Column("safe_depth_in", sa.String(length=64), nullable=True))

    with op.batch_alter_table("drilling", schema=None) as batch_op:
        batch_op.add_column(sa.Column("confirmed_at", sa.DateTime(), nullable=True))
        batch_op.add_column(sa.Column("confirmed_by_id", sa.Integer(), nullable=True))
        batch_op.add_column(sa.Column("confirmed_reason", sa.String(length=400), nullable=False, server_default=""))
        batch_op.create_foreign_key(
            batch_op.f("fk_drilling_confirmed_by_id_staff"), "staff", ["confirmed_by_id"], ["id"]
        )

    with op.batch_alter_table("insert_system", schema=None) as batch_op:
        batch_op.add_column(sa.Column("inner_length_in", sa.String(length=64), nullable=True))
        batch_op.add_column(sa.Column("stock", sa.JSON(), nullable=False, server_default="{}"))
        batch_op.add_column(sa.Column("route", sa.JSON(), nullable=False, server_default="[]"))


def downgrade() -> None:
    with op.batch_alter_table("insert_system", schema=None) as batch_op:
        batch_op.drop_column("route")
        batch_op.drop_column("stock")
        batch_op.drop_column("inner_length_in")

    with op.batch_alter_table("drilling", schema=None) as batch_op:
        batch_op.drop_constraint(batch_op.f("fk_drilling_confirmed_by_id_staff"), type_="foreignkey")
        batch_op.drop_column("confirmed_reason")
        batch_op.drop_column("confirmed_by_id")
        batch_op.drop_column("confirmed_at")

    with op.batch_alter_table("ball", schema=None) as batch_op:
        batch_op.drop_column("safe_depth_in")

    with op.batch_alter_table("drilling_step", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_drilling_step_drilling_id"))

    op.drop_table("drilling_step")
