"""Fits discarded, plans called off, balls and bowlers removed, balls and inners of another bowler, records merged."""

import sqlalchemy as sa
from alembic import op

revision = "0018"
down_revision = "0017"
branch_labels = None
depends_on = None

_REASONS = {
    "fit": "discarded_reason",
    "drilling": "called_off_reason",
    "ball": "removed_reason",
    "bowler": "removed_reason",
}
_TIMES = {"drilling": "called_off_at", "ball": "removed_at", "bowler": "removed_at"}


def _links(table: str, **columns: str) -> list[sa.Constraint]:
    named = {column: op.f(f"fk_{table}_{column}_{other}") for column, other in columns.items()}
    keys = [sa.ForeignKeyConstraint([c], [f"{other}.id"], name=named[c]) for c, other in columns.items()]
    return [*keys, sa.PrimaryKeyConstraint("id", name=op.f(f"pk_{table}"))]


def upgrade() -> None:
    for table, name in _REASONS.items():
        with op.batch_alter_table(table) as batch:
            batch.add_column(sa.Column(name, sa.String(400), nullable=False, server_default=""))
            if table in _TIMES:
                batch.add_column(sa.Column(_TIMES[table], sa.DateTime(), nullable=True))
            if table == "drilling":
                batch.alter_column("state", existing_type=sa.String(8), type_=sa.String(11))
            if table == "bowler":
                batch.add_column(sa.Column("merged_into_id", sa.Integer(), nullable=True))
                batch.create_foreign_key(op.f("fk_bowler_merged_into_id_bowler"), "bowler", ["merged_into_id"], ["id"])
        with op.batch_alter_table(table) as batch:
            batch.alter_column(name, server_default=None)
    op.create_index(op.f("ix_bowler_merged_into_id"), "bowler", ["merged_into_id"])
    op.create_table(
        "owner_change",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("ball_id", sa.Integer(), nullable=True),
        sa.Column("inner_id", sa.Integer(), nullable=True),
        sa.Column("from_id", sa.Integer(), nullable=False),
        sa.Column("to_id", sa.Integer(), nullable=False),
        sa.Column("why", sa.String(400), nullable=False),
        sa.Column("staff_id", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.Column("undone_at", sa.DateTime(), nullable=True),
        sa.Column("undone_reason", sa.String(400), nullable=False),
        sa.Column("made_by_shop_id", sa.Integer(), nullable=True),
        *_links(
            "owner_change",
            ball_id="ball",
            inner_id="inner",
            from_id="bowler",
            to_id="bowler",
            staff_id="staff",
            made_by_shop_id="shop",
        ),
    )
    op.create_table(
        "merger",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("kept_id", sa.Integer(), nullable=False),
        sa.Column("gone_id", sa.Integer(), nullable=False),
        sa.Column("why", sa.String(400), nullable=False),
        sa.Column("staff_id", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.Column("kept_before", sa.JSON(), nullable=False),
        sa.Column("kept_after", sa.JSON(), nullable=False),
        sa.Column("rows", sa.JSON(), nullable=False),
        sa.Column("fits", sa.JSON(), nullable=False),
        sa.Column("parted_at", sa.DateTime(), nullable=True),
        sa.Column("parted_by_id", sa.Integer(), nullable=True),
        sa.Column("parted_reason", sa.String(400), nullable=False),
        sa.Column("made_by_shop_id", sa.Integer(), nullable=True),
        *_links(
            "merger", kept_id="bowler", gone_id="bowler", staff_id="staff", parted_by_id="staff", made_by_shop_id="shop"
        ),
    )
    for table, names in _INDEXED.items():
        for name in names:
            op.create_index(op.f(f"ix_{table}_{name}"), table, [name])


_INDEXED = {"owner_change": ("ball_id", "inner_id", "from_id", "to_id"), "merger": ("kept_id", "gone_id")}


_TAKEN_BACK = (
    "fit WHERE state = 'discarded'",
    "drilling WHERE state = 'not drilled'",
    "ball WHERE removed_at IS NOT NULL",
    "bowler WHERE removed_at IS NOT NULL",
    "merger",
    "owner_change",
)


def downgrade() -> None:
    """Raises where something was taken back, moved or merged, which nothing older can hold."""
    if any(op.get_bind().execute(sa.text(f"SELECT count(*) FROM {rows}")).scalar() for rows in _TAKEN_BACK):
        raise RuntimeError("Something was taken back, moved or merged: nothing older can hold it.")
    for table in reversed(_INDEXED):
        op.drop_table(table)
    op.drop_index(op.f("ix_bowler_merged_into_id"), "bowler")
    for table, name in reversed(_REASONS.items()):
        with op.batch_alter_table(table) as batch:
            if table == "bowler":
                batch.drop_constraint(op.f("fk_bowler_merged_into_id_bowler"), type_="foreignkey")
                batch.drop_column("merged_into_id")
            if table == "drilling":
                batch.alter_column("state", existing_type=sa.String(11), type_=sa.String(8))
            if table in _TIMES:
                batch.drop_column(_TIMES[table])
            batch.drop_column(name)
