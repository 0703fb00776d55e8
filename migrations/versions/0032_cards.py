"""Cards that travel: keys, cards issued and read, depths stated on them, and the doubt of a bore's depth."""

import sqlalchemy as sa
from alembic import op

revision = "0032"
down_revision = "0031"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "installation",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.LargeBinary(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_installation")),
    )
    op.create_table(
        "shop_key",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("shop_id", sa.Integer(), nullable=False),
        sa.Column("private_key", sa.LargeBinary(), nullable=False),
        sa.Column("public_key", sa.LargeBinary(), nullable=False),
        sa.Column("made_at", sa.DateTime(), nullable=False),
        sa.Column("replaced_at", sa.DateTime(), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["shop_id"], ["shop.id"], name=op.f("fk_shop_key_shop_id_shop")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_shop_key")),
        sa.UniqueConstraint("public_key", name=op.f("uq_shop_key_public_key")),
    )
    with op.batch_alter_table("shop_key", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_shop_key_shop_id"), ["shop_id"], unique=False)

    op.create_table(
        "known_key",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("public_key", sa.LargeBinary(), nullable=False),
        sa.Column("name", sa.String(length=120), nullable=False),
        sa.Column("shop_id", sa.Integer(), nullable=True),
        sa.Column("first_seen_at", sa.DateTime(), nullable=False),
        sa.Column("is_changed", sa.Boolean(), nullable=False),
        sa.Column("accepted_at", sa.DateTime(), nullable=True),
        sa.Column("accepted_by_id", sa.Integer(), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("made_by_shop_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["accepted_by_id"], ["staff.id"], name=op.f("fk_known_key_accepted_by_id_staff")),
        sa.ForeignKeyConstraint(["made_by_shop_id"], ["shop.id"], name=op.f("fk_known_key_made_by_shop_id_shop")),
        sa.ForeignKeyConstraint(["shop_id"], ["shop.id"], name=op.f("fk_known_key_shop_id_shop")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_known_key")),
        sa.UniqueConstraint("public_key", name=op.f("uq_known_key_public_key")),
    )
    with op.batch_alter_table("known_key", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_known_key_shop_id"), ["shop_id"], unique=False)

    op.create_table(
        "read_card",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("digest", sa.LargeBinary(), nullable=False),
        sa.Column("series", sa.LargeBinary(), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("maker", sa.String(length=120), nullable=False),
        sa.Column("public_key", sa.LargeBinary(), nullable=False),
        sa.Column("made_on", sa.Date(), nullable=False),
        sa.Column("outcome", sa.String(length=10), nullable=False),
        sa.Column("data", sa.LargeBinary(), nullable=True),
        sa.Column("bowler_id", sa.Integer(), nullable=True),
        sa.Column("made", sa.JSON(), nullable=False),
        sa.Column("staff_id", sa.Integer(), nullable=False),
        sa.Column("read_at", sa.DateTime(), nullable=False),
        sa.Column("taken_back_reason", sa.String(length=400), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("made_by_shop_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["bowler_id"], ["bowler.id"], name=op.f("fk_read_card_bowler_id_bowler")),
        sa.ForeignKeyConstraint(["made_by_shop_id"], ["shop.id"], name=op.f("fk_read_card_made_by_shop_id_shop")),
        sa.ForeignKeyConstraint(["staff_id"], ["staff.id"], name=op.f("fk_read_card_staff_id_staff")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_read_card")),
    )
    with op.batch_alter_table("read_card", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_read_card_bowler_id"), ["bowler_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_read_card_digest"), ["digest"], unique=False)

    op.create_table(
        "issued_card",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("bowler_id", sa.Integer(), nullable=False),
        sa.Column("shop_id", sa.Integer(), nullable=False),
        sa.Column("hand", sa.String(length=5), nullable=False),
        sa.Column("series", sa.LargeBinary(), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("digest", sa.LargeBinary(), nullable=False),
        sa.Column("data", sa.LargeBinary(), nullable=False),
        sa.Column("fit_id", sa.Integer(), nullable=True),
        sa.Column("made_on", sa.Date(), nullable=False),
        sa.Column("staff_id", sa.Integer(), nullable=False),
        sa.Column("issued_at", sa.DateTime(), nullable=False),
        sa.Column("made_by_shop_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["bowler_id"], ["bowler.id"], name=op.f("fk_issued_card_bowler_id_bowler")),
        sa.ForeignKeyConstraint(["fit_id"], ["fit.id"], name=op.f("fk_issued_card_fit_id_fit")),
        sa.ForeignKeyConstraint(["made_by_shop_id"], ["shop.id"], name=op.f("fk_issued_card_made_by_shop_id_shop")),
        sa.ForeignKeyConstraint(["shop_id"], ["shop.id"], name=op.f("fk_issued_card_shop_id_shop")),
        sa.ForeignKeyConstraint(["staff_id"], ["staff.id"], name=op.f("fk_issued_card_staff_id_staff")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_issued_card")),
        sa.UniqueConstraint("series", "revision", name=op.f("uq_issued_card_series_revision")),
    )
    with op.batch_alter_table("issued_card", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_issued_card_bowler_id"), ["bowler_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_issued_card_digest"), ["digest"], unique=False)

    op.create_table(
        "stated_depth",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("shop_id", sa.Integer(), nullable=False),
        sa.Column("system_id", sa.Integer(), nullable=False),
        sa.Column("card_id", sa.Integer(), nullable=False),
        sa.Column("mean_in", sa.String(length=64), nullable=False),
        sa.Column("u_in", sa.String(length=64), nullable=False),
        sa.Column("scatter_in", sa.String(length=64), nullable=False),
        sa.Column("n", sa.Integer(), nullable=False),
        sa.Column("balls", sa.Integer(), nullable=False),
        sa.Column("datum", sa.String(length=10), nullable=False),
        sa.Column("as_of", sa.Date(), nullable=False),
        sa.Column("evidence", sa.LargeBinary(), nullable=False),
        sa.Column("taken_back_at", sa.DateTime(), nullable=True),
        sa.Column("made_by_shop_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["card_id"], ["read_card.id"], name=op.f("fk_stated_depth_card_id_read_card")),
        sa.ForeignKeyConstraint(["made_by_shop_id"], ["shop.id"], name=op.f("fk_stated_depth_made_by_shop_id_shop")),
        sa.ForeignKeyConstraint(["shop_id"], ["shop.id"], name=op.f("fk_stated_depth_shop_id_shop")),
        sa.ForeignKeyConstraint(
            ["system_id"], ["insert_system.id"], name=op.f("fk_stated_depth_system_id_insert_system")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_stated_depth")),
        sa.UniqueConstraint("evidence", "card_id", name=op.f("uq_stated_depth_evidence_card_id")),
    )
    with op.batch_alter_table("stated_depth", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_stated_depth_card_id"), ["card_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_stated_depth_shop_id"), ["shop_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_stated_depth_system_id"), ["system_id"], unique=False)

    with op.batch_alter_table("bore", schema=None) as batch_op:
        batch_op.add_column(sa.Column("depth_u_in", sa.String(length=64), nullable=True))


def downgrade() -> None:
    """Loses every key, card and stated depth: nothing older can hold them."""
    with op.batch_alter_table("bore", schema=None) as batch_op:
        batch_op.drop_column("depth_u_in")

    with op.batch_alter_table("stated_depth", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_stated_depth_system_id"))
        batch_op.drop_index(batch_op.f("ix_stated_depth_shop_id"))
        batch_op.drop_index(batch_op.f("ix_stated_depth_card_id"))

    op.drop_table("stated_depth")
    with op.batch_alter_table("issued_card", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_issued_card_digest"))
        batch_op.drop_index(batch_op.f("ix_issued_card_bowler_id"))

    op.drop_table("issued_card")
    with op.batch_alter_table("read_card", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_read_card_digest"))
        batch_op.drop_index(batch_op.f("ix_read_card_bowler_id"))

    op.drop_table("read_card")
    with op.batch_alter_table("known_key", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_known_key_shop_id"))

    op.drop_table("known_key")
    with op.batch_alter_table("shop_key", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_shop_key_shop_id"))

    op.drop_table("shop_key")
    op.drop_table("installation")
