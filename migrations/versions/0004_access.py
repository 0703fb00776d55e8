"""Who may do what: staff accounts, sign-ins, API tokens, sent forms, chain rules; the shop that made each record."""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None

MADE_IN_SHOP = (
    "ball",
    "bit",
    "bit_event",
    "bore",
    "bowler",
    "change",
    "depth_observation",
    "drilling",
    "fit",
    "inner",
    "insert_system",
    "intake_row",
    "measurement",
    "photo",
    "shop",
    "study",
    "trial_fit",
    "trouble",
)


def upgrade() -> None:
    op.create_table(
        "attempt",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=60), nullable=False),
        sa.Column("address", sa.String(length=64), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_attempt")),
    )
    with op.batch_alter_table("attempt", schema=None) as batch_op:
        batch_op.create_index("ix_attempt_address_at", ["address", "at"], unique=False)
        batch_op.create_index("ix_attempt_name_at", ["name", "at"], unique=False)

    op.create_table(
        "rule",
        sa.Column("name", sa.String(length=60), nullable=False),
        sa.Column("value", sa.Integer(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("name", name=op.f("pk_rule")),
    )
    op.create_table(
        "sent_form",
        sa.Column("key", sa.String(length=80), nullable=False),
        sa.Column("location", sa.String(length=2000), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.PrimaryKeyConstraint("key", name=op.f("pk_sent_form")),
    )
    with op.batch_alter_table("sent_form", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_sent_form_at"), ["at"], unique=False)

    op.create_table(
        "api_token",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("label", sa.String(length=80), nullable=False),
        sa.Column("shop_id", sa.Integer(), nullable=False),
        sa.Column("staff_id", sa.Integer(), nullable=False),
        sa.Column("scopes", sa.JSON(), nullable=False),
        sa.Column("token_hash", sa.String(length=64), nullable=False),
        sa.Column("made_at", sa.DateTime(), nullable=False),
        sa.Column("ended_at", sa.DateTime(), nullable=True),
        sa.ForeignKeyConstraint(["shop_id"], ["shop.id"], name=op.f("fk_api_token_shop_id_shop")),
        sa.ForeignKeyConstraint(["staff_id"], ["staff.id"], name=op.f("fk_api_token_staff_id_staff")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_api_token")),
        sa.UniqueConstraint("token_hash", name=op.f("uq_api_token_token_hash")),
    )
    op.create_table(
        "sign_in",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("token_hash", sa.String(length=64), nullable=False),
        sa.Column("opened_by_id", sa.Integer(), nullable=False),
        sa.Column("staff_id", sa.Integer(), nullable=False),
        sa.Column("is_full", sa.Boolean(), nullable=False),
        sa.Column("browser", sa.String(length=200), nullable=False),
        sa.Column("pin_failures", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.Column("seen_at", sa.DateTime(), nullable=False),
        sa.Column("ended_at", sa.DateTime(), nullable=True),
        sa.ForeignKeyConstraint(["opened_by_id"], ["staff.id"], name=op.f("fk_sign_in_opened_by_id_staff")),
        sa.ForeignKeyConstraint(["staff_id"], ["staff.id"], name=op.f("fk_sign_in_staff_id_staff")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_sign_in")),
        sa.UniqueConstraint("token_hash", name=op.f("uq_sign_in_token_hash")),
    )
    with op.batch_alter_table("sign_in", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_sign_in_opened_by_id"), ["opened_by_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_sign_in_staff_id"), ["staff_id"], unique=False)

    with op.batch_alter_table("bowler", schema=None) as batch_op:
        batch_op.add_column(sa.Column("is_minor", sa.Boolean(), nullable=False, server_default=sa.false()))
        batch_op.add_column(sa.Column("guardian", sa.String(length=160), nullable=False, server_default=""))
        batch_op.add_column(sa.Column("consent", sa.String(length=400), nullable=False, server_default=""))
        batch_op.add_column(sa.Column("erased_at", sa.DateTime(), nullable=True))

    with op.batch_alter_table("change", schema=None) as batch_op:
        batch_op.alter_column(
            "field", existing_type=sa.VARCHAR(length=40), type_=sa.String(length=400), existing_nullable=False
        )

    with op.batch_alter_table("setting", schema=None) as batch_op:
        batch_op.add_column(sa.Column("version", sa.Integer(), nullable=False, server_default="1"))

    with op.batch_alter_table("staff") as batch_op:
        batch_op.add_column(sa.Column("shop_id", sa.Integer(), nullable=True))
        batch_op.add_column(sa.Column("role", sa.String(length=8), nullable=False, server_default="driller"))
        batch_op.add_column(sa.Column("sign_in_name", sa.String(length=60), nullable=False, server_default=""))
        batch_op.add_column(sa.Column("password_hash", sa.String(length=200), nullable=False, server_default=""))
        batch_op.add_column(sa.Column("pin_hash", sa.String(length=200), nullable=False, server_default=""))
        batch_op.add_column(sa.Column("invite_hash", sa.String(length=64), nullable=False, server_default=""))
        batch_op.add_column(sa.Column("invited_until", sa.DateTime(), nullable=True))
        batch_op.add_column(sa.Column("version", sa.Integer(), nullable=False, server_default="1"))

    for table in MADE_IN_SHOP:
        with op.batch_alter_table(table) as batch_op:
            batch_op.add_column(sa.Column("made_by_shop_id", sa.Integer(), nullable=True))
            batch_op.create_foreign_key(op.f(f"fk_{table}_made_by_shop_id_shop"), "shop", ["made_by_shop_id"], ["id"])
        op.execute(f'UPDATE "{table}" SET made_by_shop_id = (SELECT min(id) FROM shop WHERE is_ours)')

    op.execute("UPDATE staff SET shop_id = (SELECT min(id) FROM shop WHERE is_ours), sign_in_name = lower(initials)")
    with op.batch_alter_table("staff") as batch_op:
        batch_op.drop_constraint(op.f("uq_staff_initials"), type_="unique")
        batch_op.create_unique_constraint(op.f("uq_staff_shop_id_initials"), ["shop_id", "initials"])
        batch_op.create_unique_constraint(op.f("uq_staff_sign_in_name"), ["sign_in_name"])
        batch_op.create_foreign_key(op.f("fk_staff_shop_id_shop"), "shop", ["shop_id"], ["id"])


def downgrade() -> None:
    for table in reversed(MADE_IN_SHOP):
        with op.batch_alter_table(table) as batch_op:
            batch_op.drop_constraint(op.f(f"fk_{table}_made_by_shop_id_shop"), type_="foreignkey")
            batch_op.drop_column("made_by_shop_id")

    with op.batch_alter_table("staff", schema=None) as batch_op:
        batch_op.drop_constraint(batch_op.f("fk_staff_shop_id_shop"), type_="foreignkey")
        batch_op.drop_constraint(batch_op.f("uq_staff_sign_in_name"), type_="unique")
        batch_op.drop_constraint(batch_op.f("uq_staff_shop_id_initials"), type_="unique")
        batch_op.create_unique_constraint(batch_op.f("uq_staff_initials"), ["initials"])
        batch_op.drop_column("version")
        batch_op.drop_column("invited_until")
        batch_op.drop_column("invite_hash")
        batch_op.drop_column("pin_hash")
        batch_op.drop_column("password_hash")
        batch_op.drop_column("sign_in_name")
        batch_op.drop_column("role")
        batch_op.drop_column("shop_id")

    with op.batch_alter_table("setting", schema=None) as batch_op:
        batch_op.drop_column("version")

    with op.batch_alter_table("change", schema=None) as batch_op:
        batch_op.alter_column(
            "field", existing_type=sa.String(length=400), type_=sa.VARCHAR(length=40), existing_nullable=False
        )

    with op.batch_alter_table("bowler", schema=None) as batch_op:
        batch_op.drop_column("erased_at")
        batch_op.drop_column("consent")
        batch_op.drop_column("guardian")
        batch_op.drop_column("is_minor")

    with op.batch_alter_table("sign_in", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_sign_in_staff_id"))
        batch_op.drop_index(batch_op.f("ix_sign_in_opened_by_id"))

    op.drop_table("sign_in")
    op.drop_table("api_token")
    with op.batch_alter_table("sent_form", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_sent_form_at"))

    op.drop_table("sent_form")
    op.drop_table("rule")
    with op.batch_alter_table("attempt", schema=None) as batch_op:
        batch_op.drop_index("ix_attempt_name_at")
        batch_op.drop_index("ix_attempt_address_at")

    op.drop_table("attempt")
