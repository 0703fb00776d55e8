"""Indexes of the counter: fits in draft, and when a bowler was last here."""

import sqlalchemy as sa
from alembic import op

revision = "0022"
down_revision = "0021"
branch_labels = None
depends_on = None

_DRAFTS = sa.text("state = 'draft'")


def upgrade() -> None:
    op.create_index("ix_fit_drafts", "fit", ["bowler_id"], sqlite_where=_DRAFTS, postgresql_where=_DRAFTS)
    op.create_index("ix_change_visits", "change", ["bowler_id", "at"])
    op.drop_index("ix_change_bowler_id", "change")


def downgrade() -> None:
    op.create_index("ix_change_bowler_id", "change", ["bowler_id"])
    op.drop_index("ix_change_visits", "change")
    op.drop_index("ix_fit_drafts", "fit")
