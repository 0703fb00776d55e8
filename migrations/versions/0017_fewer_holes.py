"""A fit says which holes its grip has, and how far its thumb stands off the centre line."""

import sqlalchemy as sa
from alembic import op

revision = "0017"
down_revision = "0016"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("fit", sa.Column("grip_holes", sa.String(length=12), server_default="three", nullable=False))
    op.add_column("fit_hole", sa.Column("offset_in", sa.String(length=64), nullable=True))


def downgrade() -> None:
    """Raises where a fit has fewer holes than three or an offset thumb, which nothing older can hold."""
    told = sa.text(
        "SELECT count(*) FROM fit_hole JOIN fit ON fit.id = fit_hole.fit_id "
        "WHERE fit.grip_holes <> 'three' OR fit_hole.offset_in IS NOT NULL"
    )
    if op.get_bind().execute(told).scalar():
        raise RuntimeError("A fit has fewer holes than three, or an offset thumb: nothing older can hold it.")
    with op.batch_alter_table("fit_hole") as batch:
        batch.drop_column("offset_in")
    with op.batch_alter_table("fit") as batch:
        batch.drop_column("grip_holes")
