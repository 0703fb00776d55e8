"""Tickets, squads, waits, checks of tags, the floor's own numbers, and parts with their movements."""

import sqlalchemy as sa
from alembic import op

revision = "0025"
down_revision = "0024"
branch_labels = None
depends_on = None

_HELD = ("ticket", "part", "squad", "floor")


def upgrade() -> None:
    op.create_table(
        "floor",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("minutes", sa.JSON(), nullable=False),
        sa.Column("set_up_minutes", sa.Integer(), nullable=False),
        sa.Column("presses", sa.Integer(), nullable=False),
        sa.Column("follow_up_days", sa.Integer(), nullable=False),
        sa.Column("usual_words", sa.Text(), nullable=False),
        sa.Column("care_words", sa.Text(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_floor")),
    )
    op.create_table(
        "squad",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("label", sa.String(length=80), nullable=False),
        sa.Column("begins_at", sa.DateTime(), nullable=False),
        sa.Column("is_tournament", sa.Boolean(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("made_by_shop_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["made_by_shop_id"], ["shop.id"], name=op.f("fk_squad_made_by_shop_id_shop")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_squad")),
    )
    with op.batch_alter_table("squad", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_squad_begins_at"), ["begins_at"], unique=False)

    op.create_table(
        "part",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(length=8), nullable=False),
        sa.Column("system_id", sa.Integer(), nullable=True),
        sa.Column("label", sa.String(length=80), nullable=False),
        sa.Column("size_in", sa.String(length=64), nullable=True),
        sa.Column("lot", sa.String(length=60), nullable=False),
        sa.Column("colour", sa.String(length=60), nullable=False),
        sa.Column("least", sa.Integer(), nullable=False),
        sa.Column("cure_minutes", sa.Integer(), nullable=True),
        sa.Column("outside_low_in", sa.String(length=64), nullable=True),
        sa.Column("outside_high_in", sa.String(length=64), nullable=True),
        sa.Column("typed", sa.JSON(), nullable=False),
        sa.Column("retired_at", sa.DateTime(), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("made_by_shop_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["made_by_shop_id"], ["shop.id"], name=op.f("fk_part_made_by_shop_id_shop")),
        sa.ForeignKeyConstraint(["system_id"], ["insert_system.id"], name=op.f("fk_part_system_id_insert_system")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_part")),
    )
    with op.batch_alter_table("part", schema=None) as batch_op:
        batch_op.create_index("ix_part_system_id_kind", ["system_id", "kind"], unique=False)

    op.create_table(
        "part_movement",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("part_id", sa.Integer(), nullable=False),
        sa.Column("count", sa.Integer(), nullable=False),
        sa.Column("cause", sa.String(length=9), nullable=False),
        sa.Column("why", sa.String(length=400), nullable=False),
        sa.Column("drilling_id", sa.Integer(), nullable=True),
        sa.Column("undoes_id", sa.Integer(), nullable=True),
        sa.Column("staff_id", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.Column("made_by_shop_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["drilling_id"], ["drilling.id"], name=op.f("fk_part_movement_drilling_id_drilling")),
        sa.ForeignKeyConstraint(["made_by_shop_id"], ["shop.id"], name=op.f("fk_part_movement_made_by_shop_id_shop")),
        sa.ForeignKeyConstraint(["part_id"], ["part.id"], name=op.f("fk_part_movement_part_id_part")),
        sa.ForeignKeyConstraint(["staff_id"], ["staff.id"], name=op.f("fk_part_movement_staff_id_staff")),
        sa.ForeignKeyConstraint(
            ["undoes_id"], ["part_movement.id"], name=op.f("fk_part_movement_undoes_id_part_movement")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_part_movement")),
        sa.UniqueConstraint("undoes_id", name=op.f("uq_part_movement_undoes_id")),
    )
    with op.batch_alter_table("part_movement", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_part_movement_drilling_id"), ["drilling_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_part_movement_part_id"), ["part_id"], unique=False)

    op.create_table(
        "ticket",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("ball_id", sa.Integer(), nullable=True),
        sa.Column("inner_id", sa.Integer(), nullable=True),
        sa.Column("what", sa.String(length=10), nullable=False),
        sa.Column("state", sa.String(length=12), nullable=False),
        sa.Column("words", sa.Text(), nullable=False),
        sa.Column("symptom", sa.String(length=400), nullable=False),
        sa.Column("wishes", sa.String(length=400), nullable=False),
        sa.Column("promised_at", sa.DateTime(), nullable=True),
        sa.Column("squad_id", sa.Integer(), nullable=True),
        sa.Column("priority", sa.String(length=5), nullable=False),
        sa.Column("priority_reason", sa.String(length=200), nullable=False),
        sa.Column("price", sa.String(length=60), nullable=False),
        sa.Column("drilling_id", sa.Integer(), nullable=True),
        sa.Column("holder_id", sa.Integer(), nullable=True),
        sa.Column("taken_at", sa.DateTime(), nullable=True),
        sa.Column("redo_of_id", sa.Integer(), nullable=True),
        sa.Column("redo_reason", sa.String(length=12), nullable=False),
        sa.Column("handed_to", sa.String(length=120), nullable=False),
        sa.Column("checked_with", sa.String(length=120), nullable=False),
        sa.Column("handed_over_at", sa.DateTime(), nullable=True),
        sa.Column("follow_up_on", sa.Date(), nullable=True),
        sa.Column("outcome", sa.String(length=8), nullable=False),
        sa.Column("outcome_words", sa.String(length=400), nullable=False),
        sa.Column("called_off_reason", sa.String(length=400), nullable=False),
        sa.Column("staff_id", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("made_by_shop_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["ball_id"], ["ball.id"], name=op.f("fk_ticket_ball_id_ball")),
        sa.ForeignKeyConstraint(["drilling_id"], ["drilling.id"], name=op.f("fk_ticket_drilling_id_drilling")),
        sa.ForeignKeyConstraint(["holder_id"], ["staff.id"], name=op.f("fk_ticket_holder_id_staff")),
        sa.ForeignKeyConstraint(["inner_id"], ["inner.id"], name=op.f("fk_ticket_inner_id_inner")),
        sa.ForeignKeyConstraint(["made_by_shop_id"], ["shop.id"], name=op.f("fk_ticket_made_by_shop_id_shop")),
        sa.ForeignKeyConstraint(["redo_of_id"], ["ticket.id"], name=op.f("fk_ticket_redo_of_id_ticket")),
        sa.ForeignKeyConstraint(["squad_id"], ["squad.id"], name=op.f("fk_ticket_squad_id_squad")),
        sa.ForeignKeyConstraint(["staff_id"], ["staff.id"], name=op.f("fk_ticket_staff_id_staff")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_ticket")),
    )
    with op.batch_alter_table("ticket", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_ticket_ball_id"), ["ball_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_ticket_drilling_id"), ["drilling_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_ticket_follow_up_on"), ["follow_up_on"], unique=False)
        batch_op.create_index(batch_op.f("ix_ticket_inner_id"), ["inner_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_ticket_promised_at"), ["promised_at"], unique=False)
        batch_op.create_index(batch_op.f("ix_ticket_redo_of_id"), ["redo_of_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_ticket_squad_id"), ["squad_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_ticket_state"), ["state"], unique=False)

    op.create_table(
        "ball_check",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("ticket_id", sa.Integer(), nullable=False),
        sa.Column("ball_id", sa.Integer(), nullable=True),
        sa.Column("moment", sa.String(length=8), nullable=False),
        sa.Column("is_match", sa.Boolean(), nullable=False),
        sa.Column("staff_id", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.Column("made_by_shop_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["ball_id"], ["ball.id"], name=op.f("fk_ball_check_ball_id_ball")),
        sa.ForeignKeyConstraint(["made_by_shop_id"], ["shop.id"], name=op.f("fk_ball_check_made_by_shop_id_shop")),
        sa.ForeignKeyConstraint(["staff_id"], ["staff.id"], name=op.f("fk_ball_check_staff_id_staff")),
        sa.ForeignKeyConstraint(["ticket_id"], ["ticket.id"], name=op.f("fk_ball_check_ticket_id_ticket")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_ball_check")),
    )
    with op.batch_alter_table("ball_check", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_ball_check_ticket_id"), ["ticket_id"], unique=False)

    op.create_table(
        "ticket_move",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("ticket_id", sa.Integer(), nullable=False),
        sa.Column("state", sa.String(length=12), nullable=False),
        sa.Column("staff_id", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.Column("note", sa.String(length=400), nullable=False),
        sa.Column("made_by_shop_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["made_by_shop_id"], ["shop.id"], name=op.f("fk_ticket_move_made_by_shop_id_shop")),
        sa.ForeignKeyConstraint(["staff_id"], ["staff.id"], name=op.f("fk_ticket_move_staff_id_staff")),
        sa.ForeignKeyConstraint(["ticket_id"], ["ticket.id"], name=op.f("fk_ticket_move_ticket_id_ticket")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_ticket_move")),
    )
    with op.batch_alter_table("ticket_move", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_ticket_move_ticket_id"), ["ticket_id"], unique=False)

    op.create_table(
        "ticket_wait",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("ticket_id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(length=8), nullable=False),
        sa.Column("why", sa.String(length=400), nullable=False),
        sa.Column("part_id", sa.Integer(), nullable=True),
        sa.Column("until", sa.DateTime(), nullable=True),
        sa.Column("raised_by_id", sa.Integer(), nullable=False),
        sa.Column("raised_at", sa.DateTime(), nullable=False),
        sa.Column("ended_by_id", sa.Integer(), nullable=True),
        sa.Column("ended_at", sa.DateTime(), nullable=True),
        sa.Column("made_by_shop_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["ended_by_id"], ["staff.id"], name=op.f("fk_ticket_wait_ended_by_id_staff")),
        sa.ForeignKeyConstraint(["made_by_shop_id"], ["shop.id"], name=op.f("fk_ticket_wait_made_by_shop_id_shop")),
        sa.ForeignKeyConstraint(["part_id"], ["part.id"], name=op.f("fk_ticket_wait_part_id_part")),
        sa.ForeignKeyConstraint(["raised_by_id"], ["staff.id"], name=op.f("fk_ticket_wait_raised_by_id_staff")),
        sa.ForeignKeyConstraint(["ticket_id"], ["ticket.id"], name=op.f("fk_ticket_wait_ticket_id_ticket")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_ticket_wait")),
    )
    with op.batch_alter_table("ticket_wait", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_ticket_wait_ticket_id"), ["ticket_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_ticket_wait_until"), ["until"], unique=False)
        batch_op.create_index(
            "ux_ticket_wait_open",
            ["ticket_id"],
            unique=True,
            sqlite_where=sa.text("ended_at IS NULL"),
            postgresql_where=sa.text("ended_at IS NULL"),
        )


def downgrade() -> None:
    """Raises where the floor was used, which nothing older can hold."""
    for table in _HELD:
        if op.get_bind().execute(sa.select(sa.func.count()).select_from(sa.table(table))).scalar():
            raise RuntimeError(f"Table {table} has rows: nothing older can hold them.")
    with op.batch_alter_table("ticket_wait", schema=None) as batch_op:
        batch_op.drop_index(
            "ux_ticket_wait_open",
            sqlite_where=sa.text("ended_at IS NULL"),
            postgresql_where=sa.text("ended_at IS NULL"),
        )
        batch_op.drop_index(batch_op.f("ix_ticket_wait_until"))
        batch_op.drop_index(batch_op.f("ix_ticket_wait_ticket_id"))

    op.drop_table("ticket_wait")
    with op.batch_alter_table("ticket_move", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_ticket_move_ticket_id"))

    op.drop_table("ticket_move")
    with op.batch_alter_table("ball_check", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_ball_check_ticket_id"))

    op.drop_table("ball_check")
    with op.batch_alter_table("ticket", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_ticket_state"))
        batch_op.drop_index(batch_op.f("ix_ticket_squad_id"))
        batch_op.drop_index(batch_op.f("ix_ticket_redo_of_id"))
        batch_op.drop_index(batch_op.f("ix_ticket_promised_at"))
        batch_op.drop_index(batch_op.f("ix_ticket_inner_id"))
        batch_op.drop_index(batch_op.f("ix_ticket_follow_up_on"))
        batch_op.drop_index(batch_op.f("ix_ticket_drilling_id"))
        batch_op.drop_index(batch_op.f("ix_ticket_ball_id"))

    op.drop_table("ticket")
    with op.batch_alter_table("part_movement", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_part_movement_part_id"))
        batch_op.drop_index(batch_op.f("ix_part_movement_drilling_id"))

    op.drop_table("part_movement")
    with op.batch_alter_table("part", schema=None) as batch_op:
        batch_op.drop_index("ix_part_system_id_kind")

    op.drop_table("part")
    with op.batch_alter_table("squad", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_squad_begins_at"))

    op.drop_table("squad")
    op.drop_table("floor")
