"""The index by which the counter finds who was here today holds the bowler too, so that no line itself is read."""

from alembic import op

revision = "0027"
down_revision = "0026"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.drop_index("ix_change_at", "change")
    op.create_index("ix_change_at_bowler", "change", ["at", "bowler_id"])


def downgrade() -> None:
    op.drop_index("ix_change_at_bowler", "change")
    op.create_index("ix_change_at", "change", ["at"])
