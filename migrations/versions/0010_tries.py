"""Tries of PINs are counted beside those of passwords; a pass stands for a PIN in ticks not yet sent."""

import sqlalchemy as sa
from alembic import op

revision = "0010"
down_revision = "0009"
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table("attempt") as batch:
        batch.add_column(sa.Column("kind", sa.String(8), nullable=False, server_default="password"))
    op.create_table(
        "tick_pass",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("token_hash", sa.String(64), nullable=False),
        sa.Column("staff_id", sa.Integer(), nullable=False),
        sa.Column("shop_id", sa.Integer(), nullable=True),
        sa.Column("drilling_id", sa.Integer(), nullable=False),
        sa.Column("expires_at", sa.DateTime(), nullable=False),
        sa.ForeignKeyConstraint(["staff_id"], ["staff.id"], name=op.f("fk_tick_pass_staff_id_staff")),
        sa.ForeignKeyConstraint(["shop_id"], ["shop.id"], name=op.f("fk_tick_pass_shop_id_shop")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_tick_pass")),
        sa.UniqueConstraint("token_hash", name=op.f("uq_tick_pass_token_hash")),
    )
    op.create_index(op.f("ix_tick_pass_expires_at"), "tick_pass", ["expires_at"])


def downgrade() -> None:
    op.drop_index(op.f("ix_tick_pass_expires_at"), "tick_pass")
    op.drop_table("tick_pass")
    op.execute("DELETE FROM attempt WHERE kind <> 'password'")
    with op.batch_alter_table("attempt") as batch:
        batch.drop_column("kind")
