"""Axis points, marks of balls, layouts, scales, weighings and dated regulations."""

import sqlalchemy as sa
from alembic import op

revision = "0029"
down_revision = "0028"
branch_labels = None
depends_on = None

_HELD = ("weighing", "layout", "favourite_layout", "ball_marks", "axis_point", "scale", "regulation")


def upgrade() -> None:
    op.create_table(
        "scale",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("shop_id", sa.Integer(), nullable=False),
        sa.Column("label", sa.String(length=80), nullable=False),
        sa.Column("resolution_oz", sa.String(length=64), nullable=True),
        sa.Column("arm_in", sa.String(length=64), nullable=True),
        sa.Column("arm_u_in", sa.String(length=64), nullable=True),
        sa.Column("calibrated_on", sa.Date(), nullable=True),
        sa.Column("mass_oz", sa.String(length=64), nullable=True),
        sa.Column("place_in", sa.String(length=64), nullable=True),
        sa.Column("circumference_in", sa.String(length=64), nullable=True),
        sa.Column("readings_oz", sa.JSON(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("typed", sa.JSON(), nullable=False),
        sa.Column("retired_at", sa.DateTime(), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("made_by_shop_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["made_by_shop_id"], ["shop.id"], name=op.f("fk_scale_made_by_shop_id_shop")),
        sa.ForeignKeyConstraint(["shop_id"], ["shop.id"], name=op.f("fk_scale_shop_id_shop")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_scale")),
    )
    with op.batch_alter_table("scale", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_scale_shop_id"), ["shop_id"], unique=False)

    op.create_table(
        "axis_point",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("bowler_id", sa.Integer(), nullable=False),
        sa.Column("hand", sa.String(length=5), nullable=False),
        sa.Column("over_in", sa.String(length=64), nullable=False),
        sa.Column("up_in", sa.String(length=64), nullable=False),
        sa.Column("found_on", sa.Date(), nullable=True),
        sa.Column("found_by", sa.String(length=8), nullable=False),
        sa.Column("track_in", sa.String(length=64), nullable=True),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("typed", sa.JSON(), nullable=False),
        sa.Column("staff_id", sa.Integer(), nullable=False),
        sa.Column("made_at", sa.DateTime(), nullable=False),
        sa.Column("taken_back_at", sa.DateTime(), nullable=True),
        sa.Column("taken_back_reason", sa.String(length=400), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("made_by_shop_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["bowler_id"], ["bowler.id"], name=op.f("fk_axis_point_bowler_id_bowler")),
        sa.ForeignKeyConstraint(["made_by_shop_id"], ["shop.id"], name=op.f("fk_axis_point_made_by_shop_id_shop")),
        sa.ForeignKeyConstraint(["staff_id"], ["staff.id"], name=op.f("fk_axis_point_staff_id_staff")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_axis_point")),
    )
    with op.batch_alter_table("axis_point", schema=None) as batch_op:
        batch_op.create_index("ix_axis_point_bowler_id_hand", ["bowler_id", "hand"], unique=False)

    op.create_table(
        "favourite_layout",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("bowler_id", sa.Integer(), nullable=False),
        sa.Column("hand", sa.String(length=5), nullable=False),
        sa.Column("label", sa.String(length=80), nullable=False),
        sa.Column("pin_axis_in", sa.String(length=64), nullable=False),
        sa.Column("axis_line_deg", sa.String(length=64), nullable=False),
        sa.Column("drilling_deg", sa.String(length=64), nullable=False),
        sa.Column("typed", sa.JSON(), nullable=False),
        sa.Column("staff_id", sa.Integer(), nullable=False),
        sa.Column("made_at", sa.DateTime(), nullable=False),
        sa.Column("removed_at", sa.DateTime(), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("made_by_shop_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["bowler_id"], ["bowler.id"], name=op.f("fk_favourite_layout_bowler_id_bowler")),
        sa.ForeignKeyConstraint(
            ["made_by_shop_id"], ["shop.id"], name=op.f("fk_favourite_layout_made_by_shop_id_shop")
        ),
        sa.ForeignKeyConstraint(["staff_id"], ["staff.id"], name=op.f("fk_favourite_layout_staff_id_staff")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_favourite_layout")),
    )
    with op.batch_alter_table("favourite_layout", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_favourite_layout_bowler_id"), ["bowler_id"], unique=False)

    op.create_table(
        "regulation",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("edition", sa.String(length=120), nullable=False),
        sa.Column("in_force_from", sa.Date(), nullable=False),
        sa.Column("source", sa.String(length=400), nullable=False),
        sa.Column("is_example", sa.Boolean(), nullable=False),
        sa.Column("body", sa.JSON(), nullable=False),
        sa.Column("ended_on", sa.Date(), nullable=True),
        sa.Column("staff_id", sa.Integer(), nullable=False),
        sa.Column("made_at", sa.DateTime(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("made_by_shop_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["made_by_shop_id"], ["shop.id"], name=op.f("fk_regulation_made_by_shop_id_shop")),
        sa.ForeignKeyConstraint(["staff_id"], ["staff.id"], name=op.f("fk_regulation_staff_id_staff")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_regulation")),
    )
    op.create_table(
        "ball_marks",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("ball_id", sa.Integer(), nullable=False),
        sa.Column("label_weight_oz", sa.String(length=64), nullable=True),
        sa.Column("real_weight_oz", sa.String(length=64), nullable=True),
        sa.Column("top_weight_oz", sa.String(length=64), nullable=True),
        sa.Column("has_mass_mark", sa.Boolean(), nullable=True),
        sa.Column("pin_mark_in", sa.String(length=64), nullable=True),
        sa.Column("pin_centre_in", sa.String(length=64), nullable=True),
        sa.Column("mark_centre_in", sa.String(length=64), nullable=True),
        sa.Column("centre_side", sa.String(length=5), nullable=True),
        sa.Column("doubt_in", sa.String(length=64), nullable=True),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("typed", sa.JSON(), nullable=False),
        sa.Column("staff_id", sa.Integer(), nullable=False),
        sa.Column("made_at", sa.DateTime(), nullable=False),
        sa.Column("made_by_shop_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["ball_id"], ["ball.id"], name=op.f("fk_ball_marks_ball_id_ball")),
        sa.ForeignKeyConstraint(["made_by_shop_id"], ["shop.id"], name=op.f("fk_ball_marks_made_by_shop_id_shop")),
        sa.ForeignKeyConstraint(["staff_id"], ["staff.id"], name=op.f("fk_ball_marks_staff_id_staff")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_ball_marks")),
    )
    with op.batch_alter_table("ball_marks", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_ball_marks_ball_id"), ["ball_id"], unique=False)

    op.create_table(
        "layout",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("ball_id", sa.Integer(), nullable=False),
        sa.Column("axis_point_id", sa.Integer(), nullable=False),
        sa.Column("ball_marks_id", sa.Integer(), nullable=True),
        sa.Column("drilling_id", sa.Integer(), nullable=True),
        sa.Column("hand", sa.String(length=5), nullable=False),
        sa.Column("pin_axis_in", sa.String(length=64), nullable=False),
        sa.Column("axis_line_deg", sa.String(length=64), nullable=False),
        sa.Column("drilling_deg", sa.String(length=64), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("typed", sa.JSON(), nullable=False),
        sa.Column("staff_id", sa.Integer(), nullable=False),
        sa.Column("chosen_at", sa.DateTime(), nullable=False),
        sa.Column("dropped_at", sa.DateTime(), nullable=True),
        sa.Column("dropped_reason", sa.String(length=400), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("made_by_shop_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["axis_point_id"], ["axis_point.id"], name=op.f("fk_layout_axis_point_id_axis_point")),
        sa.ForeignKeyConstraint(["ball_id"], ["ball.id"], name=op.f("fk_layout_ball_id_ball")),
        sa.ForeignKeyConstraint(["ball_marks_id"], ["ball_marks.id"], name=op.f("fk_layout_ball_marks_id_ball_marks")),
        sa.ForeignKeyConstraint(["drilling_id"], ["drilling.id"], name=op.f("fk_layout_drilling_id_drilling")),
        sa.ForeignKeyConstraint(["made_by_shop_id"], ["shop.id"], name=op.f("fk_layout_made_by_shop_id_shop")),
        sa.ForeignKeyConstraint(["staff_id"], ["staff.id"], name=op.f("fk_layout_staff_id_staff")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_layout")),
    )
    with op.batch_alter_table("layout", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_layout_axis_point_id"), ["axis_point_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_layout_ball_id"), ["ball_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_layout_drilling_id"), ["drilling_id"], unique=False)

    op.create_table(
        "weighing",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("ball_id", sa.Integer(), nullable=False),
        sa.Column("drilling_id", sa.Integer(), nullable=True),
        sa.Column("scale_id", sa.Integer(), nullable=False),
        sa.Column("stage", sa.String(length=6), nullable=False),
        sa.Column("weight_oz", sa.String(length=64), nullable=True),
        sa.Column("right_1_oz", sa.String(length=64), nullable=True),
        sa.Column("right_2_oz", sa.String(length=64), nullable=True),
        sa.Column("finger_1_oz", sa.String(length=64), nullable=True),
        sa.Column("finger_2_oz", sa.String(length=64), nullable=True),
        sa.Column("top_1_oz", sa.String(length=64), nullable=True),
        sa.Column("top_2_oz", sa.String(length=64), nullable=True),
        sa.Column("regulation_id", sa.Integer(), nullable=True),
        sa.Column("verdict", sa.JSON(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("typed", sa.JSON(), nullable=False),
        sa.Column("staff_id", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.Column("taken_back_at", sa.DateTime(), nullable=True),
        sa.Column("taken_back_reason", sa.String(length=400), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("made_by_shop_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["ball_id"], ["ball.id"], name=op.f("fk_weighing_ball_id_ball")),
        sa.ForeignKeyConstraint(["drilling_id"], ["drilling.id"], name=op.f("fk_weighing_drilling_id_drilling")),
        sa.ForeignKeyConstraint(["made_by_shop_id"], ["shop.id"], name=op.f("fk_weighing_made_by_shop_id_shop")),
        sa.ForeignKeyConstraint(
            ["regulation_id"], ["regulation.id"], name=op.f("fk_weighing_regulation_id_regulation")
        ),
        sa.ForeignKeyConstraint(["scale_id"], ["scale.id"], name=op.f("fk_weighing_scale_id_scale")),
        sa.ForeignKeyConstraint(["staff_id"], ["staff.id"], name=op.f("fk_weighing_staff_id_staff")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_weighing")),
    )
    with op.batch_alter_table("weighing", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_weighing_ball_id"), ["ball_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_weighing_drilling_id"), ["drilling_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_weighing_scale_id"), ["scale_id"], unique=False)


def downgrade() -> None:
    """Raises where any of it was used, which nothing older can hold."""
    for table in _HELD:
        if op.get_bind().execute(sa.select(sa.func.count()).select_from(sa.table(table))).scalar():
            raise RuntimeError(f"Table {table} has rows: nothing older can hold them.")
    with op.batch_alter_table("weighing", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_weighing_scale_id"))
        batch_op.drop_index(batch_op.f("ix_weighing_drilling_id"))
        batch_op.drop_index(batch_op.f("ix_weighing_ball_id"))

    op.drop_table("weighing")
    with op.batch_alter_table("layout", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_layout_drilling_id"))
        batch_op.drop_index(batch_op.f("ix_layout_ball_id"))
        batch_op.drop_index(batch_op.f("ix_layout_axis_point_id"))

    op.drop_table("layout")
    with op.batch_alter_table("ball_marks", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_ball_marks_ball_id"))

    op.drop_table("ball_marks")
    op.drop_table("regulation")
    with op.batch_alter_table("favourite_layout", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_favourite_layout_bowler_id"))

    op.drop_table("favourite_layout")
    with op.batch_alter_table("axis_point", schema=None) as batch_op:
        batch_op.drop_index("ix_axis_point_bowler_id_hand")

    op.drop_table("axis_point")
    with op.batch_alter_table("scale", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_scale_shop_id"))

    op.drop_table("scale")
