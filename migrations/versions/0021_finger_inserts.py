"""Finger inserts: lift and oval in the hardware, and in each hole of a fit its insert and lift."""

import sqlalchemy as sa
from alembic import op

revision = "0021"
down_revision = "0020"
branch_labels = None
depends_on = None

_OF_HARDWARE = ("lift_in", "lift_deg", "oval_in", "oval_deg")
_OF_HOLE = ("lift_in", "lift_deg")


def upgrade() -> None:
    for name in _OF_HARDWARE:
        op.add_column("insert_system", sa.Column(name, sa.String(length=64)))
    with op.batch_alter_table("fit_hole") as batch:
        for name in _OF_HOLE:
            batch.add_column(sa.Column(name, sa.String(length=64)))
        batch.add_column(sa.Column("system_id", sa.Integer()))
        batch.create_foreign_key("fk_fit_hole_system_id_insert_system", "insert_system", ["system_id"], ["id"])
        batch.create_index("ix_fit_hole_system_id", ["system_id"])


def downgrade() -> None:
    """Raises where hardware or a fit has an insert, a lift or an oval of it, which nothing older can hold."""
    told = sa.text(
        "SELECT (SELECT count(*) FROM fit_hole WHERE system_id IS NOT NULL OR lift_in IS NOT NULL) "
        "+ (SELECT count(*) FROM insert_system WHERE lift_in IS NOT NULL OR oval_in IS NOT NULL)"
    )
    if op.get_bind().execute(told).scalar():
        raise RuntimeError("Hardware or a fit has a finger insert, a lift or an oval: nothing older can hold it.")
    with op.batch_alter_table("fit_hole") as batch:
        batch.drop_index("ix_fit_hole_system_id")
        batch.drop_constraint("fk_fit_hole_system_id_insert_system", type_="foreignkey")
        for name in ("system_id", *_OF_HOLE):
            batch.drop_column(name)
    with op.batch_alter_table("insert_system") as batch:
        for name in _OF_HARDWARE:
            batch.drop_column(name)
