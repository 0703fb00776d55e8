"""What a clinician said of a hand, beside the notes of a fit; bowlers are found by the shop that made their inner."""

import sqlalchemy as sa
from alembic import op

revision = "0020"
down_revision = "0019"
branch_labels = None
depends_on = None


def _table(name: str, *columns: str) -> sa.TableClause:
    return sa.table(name, *(sa.column(c) for c in ("id", *columns)))


inner = _table("inner", "bowler_id", "trimmed_in_id")
bore = _table("bore", "shop_id")
shop = sa.table("shop", sa.column("id", sa.Integer), sa.column("is_ours", sa.Boolean))
bowler = _table("bowler", "home_shop_id", "erased_at")
word = _table("bowler_word", "bowler_id", "word", "kind")


def upgrade() -> None:
    op.add_column("fit", sa.Column("clinician_notes", sa.Text(), nullable=False, server_default=""))
    made_by = (
        sa.select(inner.c.bowler_id, sa.literal("!") + sa.cast(shop.c.id, sa.String), sa.literal("made"))
        .select_from(inner)
        .join(bore, bore.c.id == inner.c.trimmed_in_id)
        .join(shop, shop.c.id == bore.c.shop_id)
        .join(bowler, bowler.c.id == inner.c.bowler_id)
        .where(shop.c.is_ours.is_(False), bowler.c.erased_at.is_(None))
        .where(sa.func.coalesce(bowler.c.home_shop_id, 0) != shop.c.id)
        .distinct()
    )
    op.execute(word.insert().from_select(["bowler_id", "word", "kind"], made_by))


def downgrade() -> None:
    """Raises where a clinician's words are kept, which nothing older can hold."""
    if op.get_bind().execute(sa.text("SELECT count(*) FROM fit WHERE clinician_notes <> ''")).scalar():
        raise RuntimeError("A fit keeps a clinician's words: nothing older can hold them.")
    op.execute(word.delete().where(word.c.kind == "made"))
    with op.batch_alter_table("fit") as batch:
        batch.drop_column("clinician_notes")
