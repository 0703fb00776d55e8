"""Parts on the shelf and their movements; how many there are is the sum of the movements."""

from datetime import datetime
from fractions import Fraction

from sqlalchemy import ForeignKey, Index, String
from sqlalchemy.orm import Mapped, mapped_column, relationship

from app.models.base import Base, MadeInShop, now
from app.models.shops import Staff
from app.models.systems import InsertSystem


class Part(MadeInShop, Base):
    """A kind of part in one size, lot and colour. `least` is how many should be there.

    `cure_minutes` is how long a glue has to set, as its maker says. `outside_low_in` and `outside_high_in` are the
    least and greatest outside measured over the lot, `size_in` what the maker calls it; None is unknown.
    """

    __tablename__ = "part"
    __table_args__ = (Index("ix_part_system_id_kind", "system_id", "kind"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    kind: Mapped[str] = mapped_column(String(8))
    system_id: Mapped[int | None] = mapped_column(ForeignKey("insert_system.id"))
    label: Mapped[str] = mapped_column(String(80))
    size_in: Mapped[Fraction | None]
    lot: Mapped[str] = mapped_column(String(60), default="")
    colour: Mapped[str] = mapped_column(String(60), default="")
    least: Mapped[int] = mapped_column(default=0)
    cure_minutes: Mapped[int | None]
    outside_low_in: Mapped[Fraction | None]
    outside_high_in: Mapped[Fraction | None]
    typed: Mapped[dict[str, str]] = mapped_column(default=dict)
    retired_at: Mapped[datetime | None]
    version: Mapped[int] = mapped_column()

    system: Mapped[InsertSystem | None] = relationship(lazy="raise")

    __mapper_args__ = {"version_id_col": version}


class PartMovement(MadeInShop, Base):
    """So many came or went, with the cause; only appended. One that is undone has a movement with its `undoes_id`."""

    __tablename__ = "part_movement"

    id: Mapped[int] = mapped_column(primary_key=True)
    part_id: Mapped[int] = mapped_column(ForeignKey("part.id"), index=True)
    count: Mapped[int] = mapped_column()
    cause: Mapped[str] = mapped_column(String(9))
    why: Mapped[str] = mapped_column(String(400), default="")
    drilling_id: Mapped[int | None] = mapped_column(ForeignKey("drilling.id"), index=True)
    undoes_id: Mapped[int | None] = mapped_column(ForeignKey("part_movement.id"), unique=True)
    staff_id: Mapped[int] = mapped_column(ForeignKey("staff.id"))
    at: Mapped[datetime] = mapped_column(default=now)

    part: Mapped[Part] = relationship(lazy="raise")
    staff: Mapped[Staff] = relationship(lazy="raise")
