"""The index by which the counter finds lines about guessed passwords, however many lines a week has."""

import sqlalchemy as sa
from alembic import op

revision = "0038"
down_revision = "0037"
branch_labels = None
depends_on = None
_GUESSED = sa.text("field = 'wrong tries'")


def upgrade() -> None:
    op.create_index("ix_change_guessed", "change", ["at"], sqlite_where=_GUESSED, postgresql_where=_GUESSED)


def downgrade() -> None:
    op.drop_index("ix_change_guessed", "change")
