"""What was met at the bench besides depth and bit, steps skipped with a reason, stops of the bench, and shims."""

import sqlalchemy as sa
from alembic import op

revision = "0015"
down_revision = "0014"
branch_labels = None
depends_on = None

_STEP = ("met_bit_in", "met_forward_in", "met_right_in")


def upgrade() -> None:
    op.create_table(
        "bench_stop",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("drilling_id", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("lines", sa.JSON(), nullable=False),
        sa.Column("raised_at", sa.DateTime(), nullable=False),
        sa.Column("raised_by_id", sa.Integer(), nullable=False),
        sa.Column("decision", sa.String(10), nullable=False),
        sa.Column("reason", sa.String(400), nullable=False),
        sa.Column("shim_in", sa.String(64), nullable=True),
        sa.Column("typed", sa.JSON(), nullable=False),
        sa.Column("decided_at", sa.DateTime(), nullable=True),
        sa.Column("decided_by_id", sa.Integer(), nullable=True),
        sa.Column("handed_over", sa.String(400), nullable=False),
        sa.Column("made_by_shop_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["drilling_id"], ["drilling.id"], name=op.f("fk_bench_stop_drilling_id_drilling")),
        sa.ForeignKeyConstraint(["raised_by_id"], ["staff.id"], name=op.f("fk_bench_stop_raised_by_id_staff")),
        sa.ForeignKeyConstraint(["decided_by_id"], ["staff.id"], name=op.f("fk_bench_stop_decided_by_id_staff")),
        sa.ForeignKeyConstraint(["made_by_shop_id"], ["shop.id"], name=op.f("fk_bench_stop_made_by_shop_id_shop")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_bench_stop")),
    )
    op.create_index(op.f("ix_bench_stop_drilling_id"), "bench_stop", ["drilling_id"])
    with op.batch_alter_table("drilling") as batch:
        batch.add_column(sa.Column("as_met", sa.JSON(), nullable=True))
    with op.batch_alter_table("bore") as batch:
        batch.add_column(sa.Column("shim_in", sa.String(64), nullable=True))
    with op.batch_alter_table("drilling_step") as batch:
        for name in _STEP:
            batch.add_column(sa.Column(name, sa.String(64), nullable=True))
        batch.add_column(sa.Column("skip_reason", sa.String(400), nullable=False, server_default=""))


def downgrade() -> None:
    with op.batch_alter_table("drilling_step") as batch:
        batch.drop_column("skip_reason")
        for name in reversed(_STEP):
            batch.drop_column(name)
    with op.batch_alter_table("bore") as batch:
        batch.drop_column("shim_in")
    with op.batch_alter_table("drilling") as batch:
        batch.drop_column("as_met")
    op.drop_index(op.f("ix_bench_stop_drilling_id"), "bench_stop")
    op.drop_table("bench_stop")
