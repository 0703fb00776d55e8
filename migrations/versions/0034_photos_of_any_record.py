"""Photos of fits, inners and troubles too, each with its size and a thumbnail; old ones are made anew.

Here and not at their first showing, because reading requests store nothing, and because the old ones carry the place
and device that nobody meant to keep. One that cannot be decoded stays as it is.
"""

import sqlalchemy as sa
from alembic import op

from app.photos.cleaning import clean
from app.photos.errors import PhotoError

revision = "0034"
down_revision = "0033"
branch_labels = None
depends_on = None

_ADDED = ("fit", "inner", "trouble")
_OF_ONE = " + ".join(f"CASE WHEN {name}_id IS NULL THEN 0 ELSE 1 END" for name in ("ball", *_ADDED)) + " = 1"


def upgrade() -> None:
    with op.batch_alter_table("photo", schema=None) as batch_op:
        batch_op.alter_column("ball_id", existing_type=sa.Integer(), nullable=True)
        for name in _ADDED:
            batch_op.add_column(sa.Column(f"{name}_id", sa.Integer(), nullable=True))
            batch_op.create_foreign_key(batch_op.f(f"fk_photo_{name}_id_{name}"), name, [f"{name}_id"], ["id"])
            batch_op.create_index(batch_op.f(f"ix_photo_{name}_id"), [f"{name}_id"], unique=False)
        batch_op.add_column(sa.Column("thumbnail", sa.LargeBinary(), nullable=True))
        batch_op.add_column(sa.Column("width", sa.Integer(), nullable=True))
        batch_op.add_column(sa.Column("height", sa.Integer(), nullable=True))
        batch_op.create_check_constraint("of_one", _OF_ONE)
    _clean_photos()


def _clean_photos() -> None:
    """Makes each photo anew, one at a time."""
    names = ("id", "media_type", "data", "thumbnail", "width", "height")
    photo = sa.table("photo", *map(sa.column, names))
    connection = op.get_bind()
    for photo_id in connection.scalars(sa.select(photo.c.id)).all():
        data = connection.scalar(sa.select(photo.c.data).where(photo.c.id == photo_id))
        try:
            made = clean(bytes(data))
        except PhotoError:
            continue
        values = {"data": made.data, "thumbnail": made.thumbnail, "width": made.width, "height": made.height}
        connection.execute(sa.update(photo).where(photo.c.id == photo_id).values(media_type="image/jpeg", **values))


def downgrade() -> None:
    """Raises for photos of other records than balls; those of balls lose their thumbnails."""
    photo = sa.table("photo", sa.column("ball_id"))
    others = sa.select(sa.func.count()).select_from(photo).where(photo.c.ball_id.is_(None))
    if op.get_bind().scalar(others):
        raise RuntimeError("There are photos of fits, inners or troubles: nothing older can hold them.")
    with op.batch_alter_table("photo", schema=None) as batch_op:
        batch_op.drop_constraint(batch_op.f("ck_photo_of_one"), type_="check")
        for name in reversed(_ADDED):
            batch_op.drop_index(batch_op.f(f"ix_photo_{name}_id"))
            batch_op.drop_constraint(batch_op.f(f"fk_photo_{name}_id_{name}"), type_="foreignkey")
            batch_op.drop_column(f"{name}_id")
        for name in ("height", "width", "thumbnail"):
            batch_op.drop_column(name)
        batch_op.alter_column("ball_id", existing_type=sa.Integer(), nullable=False)
