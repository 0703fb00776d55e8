"""Look-ups read indexes alone: the words of a bowler with their kinds, and the bowlers of a house shop."""

from alembic import op

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.execute("DELETE FROM bowler_word")  # hands and house shops are missing; the app makes it anew when it starts
    op.drop_index(op.f("ix_bowler_word_bowler_id"), "bowler_word")
    op.create_index("ix_bowler_word_bowler_id_word_kind", "bowler_word", ["bowler_id", "word", "kind"])
    op.create_index(op.f("ix_bowler_home_shop_id"), "bowler", ["home_shop_id"])


def downgrade() -> None:
    op.drop_index(op.f("ix_bowler_home_shop_id"), "bowler")
    op.drop_index("ix_bowler_word_bowler_id_word_kind", "bowler_word")
    op.create_index(op.f("ix_bowler_word_bowler_id"), "bowler_word", ["bowler_id"])
