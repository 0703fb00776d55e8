"""Depth knowledge: instruments of observations, bits and what was done to them, gauge studies, merged shops."""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "bit",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("label", sa.String(length=40), nullable=False),
        sa.Column("material", sa.String(length=60), nullable=False),
        sa.Column("bores_limit", sa.Integer(), nullable=True),
        sa.Column("notes", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_bit")),
        sa.UniqueConstraint("label", name=op.f("uq_bit_label")),
    )
    op.create_table(
        "bit_event",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("bit_id", sa.Integer(), nullable=False),
        sa.Column("what", sa.String(length=20), nullable=False),
        sa.Column("note", sa.String(length=400), nullable=False),
        sa.Column("staff_id", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.ForeignKeyConstraint(["bit_id"], ["bit.id"], name=op.f("fk_bit_event_bit_id_bit")),
        sa.ForeignKeyConstraint(["staff_id"], ["staff.id"], name=op.f("fk_bit_event_staff_id_staff")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_bit_event")),
    )
    with op.batch_alter_table("bit_event", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_bit_event_bit_id"), ["bit_id"], unique=False)

    op.create_table(
        "study",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("instrument", sa.String(length=80), nullable=False),
        sa.Column("measures", sa.String(length=20), nullable=False),
        sa.Column("readings", sa.JSON(), nullable=False),
        sa.Column("typed", sa.JSON(), nullable=False),
        sa.Column("staff_id", sa.Integer(), nullable=False),
        sa.Column("made_at", sa.DateTime(), nullable=False),
        sa.ForeignKeyConstraint(["staff_id"], ["staff.id"], name=op.f("fk_study_staff_id_staff")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_study")),
    )
    op.create_table(
        "trouble",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("system_id", sa.Integer(), nullable=False),
        sa.Column("drilling_id", sa.Integer(), nullable=True),
        sa.Column("what", sa.String(length=20), nullable=False),
        sa.Column("note", sa.String(length=400), nullable=False),
        sa.Column("staff_id", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.ForeignKeyConstraint(["system_id"], ["insert_system.id"], name=op.f("fk_trouble_system_id_insert_system")),
        sa.ForeignKeyConstraint(["drilling_id"], ["drilling.id"], name=op.f("fk_trouble_drilling_id_drilling")),
        sa.ForeignKeyConstraint(["staff_id"], ["staff.id"], name=op.f("fk_trouble_staff_id_staff")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_trouble")),
    )
    with op.batch_alter_table("trouble", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_trouble_system_id"), ["system_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_trouble_drilling_id"), ["drilling_id"], unique=False)
    op.create_table(
        "photo",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("ball_id", sa.Integer(), nullable=False),
        sa.Column("media_type", sa.String(length=20), nullable=False),
        sa.Column("data", sa.LargeBinary(), nullable=False),
        sa.Column("staff_id", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.ForeignKeyConstraint(["ball_id"], ["ball.id"], name=op.f("fk_photo_ball_id_ball")),
        sa.ForeignKeyConstraint(["staff_id"], ["staff.id"], name=op.f("fk_photo_staff_id_staff")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_photo")),
    )
    with op.batch_alter_table("photo", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_photo_ball_id"), ["ball_id"], unique=False)
    op.create_table(
        "intake_row",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("typed", sa.JSON(), nullable=False),
        sa.Column("staff_id", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.ForeignKeyConstraint(["staff_id"], ["staff.id"], name=op.f("fk_intake_row_staff_id_staff")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_intake_row")),
    )
    with op.batch_alter_table("depth_observation", schema=None) as batch_op:
        batch_op.add_column(sa.Column("instrument", sa.String(length=80), nullable=False, server_default=""))
        batch_op.add_column(sa.Column("drilling_id", sa.Integer(), nullable=True))
        batch_op.create_foreign_key(
            batch_op.f("fk_depth_observation_drilling_id_drilling"), "drilling", ["drilling_id"], ["id"]
        )

    with op.batch_alter_table("shop", schema=None) as batch_op:
        batch_op.add_column(sa.Column("merged_into_id", sa.Integer(), nullable=True))
        batch_op.create_foreign_key(batch_op.f("fk_shop_merged_into_id_shop"), "shop", ["merged_into_id"], ["id"])


def downgrade() -> None:
    with op.batch_alter_table("shop", schema=None) as batch_op:
        batch_op.drop_constraint(batch_op.f("fk_shop_merged_into_id_shop"), type_="foreignkey")
        batch_op.drop_column("merged_into_id")

    with op.batch_alter_table("depth_observation", schema=None) as batch_op:
        batch_op.drop_constraint(batch_op.f("fk_depth_observation_drilling_id_drilling"), type_="foreignkey")
        batch_op.drop_column("drilling_id")
        batch_op.drop_column("instrument")

    op.drop_table("photo")
    op.drop_table("trouble")
    op.drop_table("intake_row")
    op.drop_table("study")
    with op.batch_alter_table("bit_event", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_bit_event_bit_id"))

    op.drop_table("bit_event")
    op.drop_table("bit")
