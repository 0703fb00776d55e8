"""Holes that are in a ball already, open or filled, and such holes as a plan counts with them.

Every hole of one ball is measured from one mark on that ball: along its centre line, then square across. The mark is
where a grip centre was, or is to go; a plan says where its own grip centre lies from it.
"""

from dataclasses import dataclass
from datetime import date
from fractions import Fraction

from sqlalchemy import ForeignKey, String
from sqlalchemy.orm import Mapped, mapped_column, relationship

from app.calculation.holes import OldHole as OldHoleShape
from app.models.balls import Ball
from app.models.base import Base, MadeInShop


class OldHole(MadeInShop, Base):
    """One old hole: place, size, signed pitch of its digit, depth down its axis from the surface, and its filling.

    A size, pitch or depth of None is unknown. `drilling_id` is the drilling here that made it. `drill_from` is the day
    from which a filling may be drilled, as its maker's cure time says; None: nobody knows.
    """

    __tablename__ = "old_hole"

    id: Mapped[int] = mapped_column(primary_key=True)
    ball_id: Mapped[int] = mapped_column(ForeignKey("ball.id"), index=True)
    drilling_id: Mapped[int | None] = mapped_column(ForeignKey("drilling.id"), index=True)
    digit: Mapped[str] = mapped_column(String(6))
    label: Mapped[str] = mapped_column(String(40), default="")
    along_in: Mapped[Fraction]
    across_in: Mapped[Fraction]
    cut_in: Mapped[Fraction | None]
    forward_in: Mapped[Fraction | None]
    right_in: Mapped[Fraction | None]
    depth_in: Mapped[Fraction | None]
    state: Mapped[str] = mapped_column(String(9))
    filling: Mapped[str] = mapped_column(String(80), default="")
    filled_by: Mapped[str] = mapped_column(String(80), default="")
    filled_on: Mapped[date | None]
    drill_from: Mapped[date | None]
    typed: Mapped[dict[str, str]] = mapped_column(default=dict)
    version: Mapped[int] = mapped_column()

    ball: Mapped[Ball] = relationship(lazy="raise")

    __mapper_args__ = {"version_id_col": version}

    @property
    def name(self) -> str:
        """`thumb hole`, or what it is called here; sentences say that it is old, so a label need not say it again."""
        return self.label.removeprefix("old ") or f"{self.digit} hole"


@dataclass(frozen=True)
class PlannedOldHole:
    """An old hole as seen from the grip centre of a plan; `unknown` says in words what it counts with, ASSUMED."""

    old_hole_id: int
    name: str
    shape: OldHoleShape
    is_filled: bool
    filling: str
    drill_from: date | None
    unknown: tuple[str, ...]
