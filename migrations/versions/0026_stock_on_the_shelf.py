"""The stock of each hardware's inners becomes parts on the shelf, each with a first count carried over."""

from datetime import UTC, datetime
from fractions import Fraction

import sqlalchemy as sa
from alembic import op

revision = "0026"
down_revision = "0025"
branch_labels = None
depends_on = None

_WHY = "carried over from the hardware's page"
_system = sa.table("insert_system", sa.column("id"), sa.column("stock", sa.JSON()), sa.column("made_by_shop_id"))
_part = sa.table(
    "part",
    *(sa.column(name) for name in ("id", "kind", "system_id", "label", "size_in", "lot", "colour", "least")),
    sa.column("typed", sa.JSON()),
    sa.column("version"),
    sa.column("made_by_shop_id"),
)
_change = sa.table("change", sa.column("at", sa.DateTime()))
_movement = sa.table(
    "part_movement",
    *(sa.column(name) for name in ("part_id", "count", "cause", "why", "staff_id", "made_by_shop_id")),
    sa.column("at", sa.DateTime()),
)


def upgrade() -> None:
    """Dates the counts by the newest line of history, which is the same wherever these records are migrated."""
    run = op.get_bind().execute
    who = run(sa.text("SELECT min(id) FROM staff")).scalar()
    at = run(sa.select(sa.func.max(_change.c.at))).scalar() or datetime.now(UTC).replace(tzinfo=None)
    for system_id, stock, shop_id in run(sa.select(_system).order_by(_system.c.id)).all():
        for size, count in (stock or {}).items():
            own = {"kind": "inner", "system_id": system_id, "label": "Inner", "size_in": _read_size(size)}
            own |= {"lot": "", "colour": "", "least": 0, "typed": {"size": size}, "version": 1}
            part_id = _add(_part, own | {"made_by_shop_id": shop_id})
            if count and who:
                moved = {"part_id": part_id, "count": count, "cause": "count", "why": _WHY, "staff_id": who}
                _add(_movement, moved | {"at": at, "made_by_shop_id": shop_id})


def _add(table: sa.TableClause, row: dict[str, object]) -> int | None:
    """Inserts a row and returns the newest id of its table."""
    op.get_bind().execute(sa.insert(table).values(**row))
    found: int | None = op.get_bind().execute(sa.text(f"SELECT max(id) FROM {table.name}")).scalar()
    return found


def _read_size(words: str) -> str:
    """Returns a size as the fraction it is stored as: `1 1/4`, `1 1/4 + 0.003` or `1.2531` in words."""
    signed = words.replace("−", "-").replace("+ ", "").replace("- ", "-")
    return str(sum((Fraction(piece) for piece in signed.split()), Fraction(0)))


def downgrade() -> None:
    """Takes away what the stock of the hardware says too: one part of a size, without lot and colour, none below zero.

    Its movements go with it, since nothing older has any; other parts stay, and hold up the next step down.
    """
    counted = "SELECT coalesce(sum(m.count), 0) FROM part_movement m WHERE m.part_id = part.id"
    plain = "kind = 'inner' AND lot = '' AND colour = '' AND outside_low_in IS NULL AND retired_at IS NULL"
    held = op.get_bind().execute(sa.text(f"SELECT id FROM part WHERE {plain} AND ({counted}) >= 0")).scalars().all()
    op.get_bind().execute(sa.delete(_movement).where(_movement.c.part_id.in_(held)))
    op.get_bind().execute(sa.delete(_part).where(_part.c.id.in_(held)))
