"""An inner's outside diameter may be unknown: NULL, as what was typed of it says."""

from fractions import Fraction

import sqlalchemy as sa
from alembic import op

revision = "0016"
down_revision = "0015"
branch_labels = None
depends_on = None

inner = sa.table("inner", *(sa.column(c) for c in ("id", "system_id", "outside_in", "hole_in", "oval_in")))
system = sa.table(
    "insert_system", *(sa.column(c) for c in ("id", "sleeve_od_in", "bore_in")), sa.column("inner_ods", sa.JSON)
)


def upgrade() -> None:
    _let_outside_be_null(True)


def downgrade() -> None:
    """Puts the size that the inner was counted with: see `Inner.counted_outside_in`."""
    connection = op.get_bind()
    unknown = sa.select(inner, system.c.sleeve_od_in, system.c.bore_in, system.c.inner_ods)
    unknown = unknown.join(system, system.c.id == inner.c.system_id).where(inner.c.outside_in.is_(None))
    for row in connection.execute(unknown).all():
        hole = Fraction(row.hole_in or 0) + Fraction(row.oval_in or 0)
        sizes = sorted(map(Fraction, row.inner_ods or ()))
        counted = sizes[-1] if sizes else min(Fraction(5, 4), Fraction(row.sleeve_od_in or row.bore_in or "5/4"))
        if row.hole_in is not None:
            counted = next((size for size in sizes if size > hole), counted)
        connection.execute(sa.update(inner).where(inner.c.id == row.id).values(outside_in=str(counted)))
    _let_outside_be_null(False)


def _let_outside_be_null(nullable: bool) -> None:
    with op.batch_alter_table("inner") as batch:
        batch.alter_column("outside_in", existing_type=sa.String(length=64), nullable=nullable)
