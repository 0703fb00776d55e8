"""Looking up by anything: leagues, and the words of phones and serials; the index is made anew by the app."""

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table("bowler") as batch_op:
        batch_op.add_column(sa.Column("league", sa.String(length=80), nullable=False, server_default=""))
    op.drop_table("bowler_word")
    word = sa.String(60).with_variant(sa.String(60, collation="C"), "postgresql")
    op.create_table(
        "bowler_word",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("bowler_id", sa.Integer(), nullable=False),
        sa.Column("word", word, nullable=False),
        sa.Column("kind", sa.String(6), nullable=False),
        sa.ForeignKeyConstraint(["bowler_id"], ["bowler.id"], name=op.f("fk_bowler_word_bowler_id_bowler")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_bowler_word")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_bowler_word_bowler_id"), "bowler_word", ["bowler_id"])
    op.create_index("ix_bowler_word_word_bowler_id", "bowler_word", ["word", "bowler_id"])


def downgrade() -> None:
    op.drop_table("bowler_word")
    op.create_table(
        "bowler_word",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("bowler_id", sa.Integer(), nullable=False),
        sa.Column("word", sa.String(60), nullable=False),
        sa.ForeignKeyConstraint(["bowler_id"], ["bowler.id"], name=op.f("fk_bowler_word_bowler_id_bowler")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_bowler_word")),
    )
    op.create_index(op.f("ix_bowler_word_bowler_id"), "bowler_word", ["bowler_id"])
    op.create_index(op.f("ix_bowler_word_word"), "bowler_word", ["word"])
    with op.batch_alter_table("bowler") as batch_op:
        batch_op.drop_column("league")
