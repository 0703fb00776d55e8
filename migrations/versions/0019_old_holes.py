"""Holes that are in a ball already, open or filled."""

import sqlalchemy as sa
from alembic import op

revision = "0019"
down_revision = "0018"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "old_hole",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("ball_id", sa.Integer(), nullable=False),
        sa.Column("drilling_id", sa.Integer(), nullable=True),
        sa.Column("digit", sa.String(6), nullable=False),
        sa.Column("label", sa.String(40), nullable=False),
        sa.Column("along_in", sa.String(64), nullable=False),
        sa.Column("across_in", sa.String(64), nullable=False),
        sa.Column("cut_in", sa.String(64), nullable=True),
        sa.Column("forward_in", sa.String(64), nullable=True),
        sa.Column("right_in", sa.String(64), nullable=True),
        sa.Column("depth_in", sa.String(64), nullable=True),
        sa.Column("state", sa.String(9), nullable=False),
        sa.Column("filling", sa.String(80), nullable=False),
        sa.Column("filled_by", sa.String(80), nullable=False),
        sa.Column("filled_on", sa.Date(), nullable=True),
        sa.Column("drill_from", sa.Date(), nullable=True),
        sa.Column("typed", sa.JSON(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("made_by_shop_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["ball_id"], ["ball.id"], name=op.f("fk_old_hole_ball_id_ball")),
        sa.ForeignKeyConstraint(["drilling_id"], ["drilling.id"], name=op.f("fk_old_hole_drilling_id_drilling")),
        sa.ForeignKeyConstraint(["made_by_shop_id"], ["shop.id"], name=op.f("fk_old_hole_made_by_shop_id_shop")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_old_hole")),
    )
    op.create_index(op.f("ix_old_hole_ball_id"), "old_hole", ["ball_id"])
    op.create_index(op.f("ix_old_hole_drilling_id"), "old_hole", ["drilling_id"])


def downgrade() -> None:
    """Raises where a ball has old holes, which nothing older can hold."""
    if op.get_bind().execute(sa.text("SELECT count(*) FROM old_hole")).scalar():
        raise RuntimeError("A ball has old holes: nothing older can hold them.")
    op.drop_index(op.f("ix_old_hole_drilling_id"), "old_hole")
    op.drop_index(op.f("ix_old_hole_ball_id"), "old_hole")
    op.drop_table("old_hole")
