"""What a clinician said of a bowler's hand, beside the notes on hand and skin of a fit."""

import sqlalchemy as sa
from alembic import op

revision = "0020"
down_revision = "0016"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("fit", sa.Column("clinician_notes", sa.Text(), nullable=False, server_default=""))


def downgrade() -> None:
    with op.batch_alter_table("fit") as batch:
        batch.drop_column("clinician_notes")
