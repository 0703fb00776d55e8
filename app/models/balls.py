"""Balls, bores and inners.

A bore has its own table: an inner is trimmed in a bore, a drilling has a bore, and a visitor's bore may have no ball
here. A bore records the hand it was made for.
"""

from datetime import datetime
from fractions import Fraction

from sqlalchemy import ForeignKey, String, Text
from sqlalchemy.orm import Mapped, mapped_column, relationship

from app.closed_sets import NOTCH_UNASKED, STRAIGHT_UNASKED
from app.models.base import Base, MadeInShop, now
from app.models.bowlers import Bowler
from app.models.shops import Shop
from app.models.systems import InsertSystem

USUAL_CIRCUMFERENCE_IN = Fraction(27)  # common practice, no source; shown in the field as the default
USUAL_OUTSIDE_IN = Fraction(5, 4)  # of an inner; common practice, no source


class Ball(MadeInShop, Base):
    """A bowler's ball. A circumference of None is unknown; one that nobody typed is the shop default.

    One that was taken in by mistake has `removed_at`.
    """

    __tablename__ = "ball"

    id: Mapped[int] = mapped_column(primary_key=True)
    bowler_id: Mapped[int] = mapped_column(ForeignKey("bowler.id"), index=True)
    label: Mapped[str] = mapped_column(String(80))
    serial: Mapped[str] = mapped_column(String(40), default="", index=True)
    weight_lb: Mapped[Fraction | None]
    circumference_in: Mapped[Fraction | None]
    safe_depth_in: Mapped[Fraction | None]
    colour: Mapped[str] = mapped_column(String(60), default="")
    condition: Mapped[str] = mapped_column(String(200), default="")
    retired_at: Mapped[datetime | None]
    removed_at: Mapped[datetime | None]
    removed_reason: Mapped[str] = mapped_column(String(400), default="")
    typed: Mapped[dict[str, str]] = mapped_column(default=dict)
    version: Mapped[int] = mapped_column()

    bowler: Mapped[Bowler] = relationship(lazy="raise")

    __mapper_args__ = {"version_id_col": version}

    @property
    def around_in(self) -> Fraction:
        """The circumference to work with: ASSUMED where it is unknown."""
        return self.circumference_in or USUAL_CIRCUMFERENCE_IN

    @property
    def is_perhaps_drilled(self) -> bool:
        """Whether nobody knows if it came here with holes."""
        return (self.typed or {}).get("holes") == "unknown"

    @property
    def is_circumference_unasked(self) -> bool:
        """Whether the circumference is the shop default because nobody typed one."""
        return not (self.typed or {}).get("circumference") and self.circumference_in == USUAL_CIRCUMFERENCE_IN


class Bore(MadeInShop, Base):
    """A thumb bore as built, in the ball's frame: it holds an outer sleeve, or an inner was trimmed in it.

    A circumference, pitch or notch of None is unknown; `hand` is the hand whose thumb it was bored for, empty if
    unknown. `depth_in` is that of the seat: the floor, or the top of what lies under the sleeve, `shim_in` thick
    (None: nothing). `depth_u_in` is its standard uncertainty where its maker said so on a card.
    """

    __tablename__ = "bore"

    id: Mapped[int] = mapped_column(primary_key=True)
    system_id: Mapped[int | None] = mapped_column(ForeignKey("insert_system.id"), index=True)
    shop_id: Mapped[int] = mapped_column(ForeignKey("shop.id"))
    circumference_in: Mapped[Fraction | None]
    bore_in: Mapped[Fraction]
    depth_in: Mapped[Fraction | None]
    depth_u_in: Mapped[Fraction | None]
    datum: Mapped[str] = mapped_column(String(10))
    shim_in: Mapped[Fraction | None]
    forward_in: Mapped[Fraction | None]
    right_in: Mapped[Fraction | None]
    notch_deg: Mapped[Fraction | None]
    hand: Mapped[str] = mapped_column(String(5), default="")
    typed: Mapped[dict[str, str]] = mapped_column(default=dict)

    system: Mapped[InsertSystem | None] = relationship(lazy="raise")
    shop: Mapped[Shop] = relationship(lazy="raise", foreign_keys=[shop_id])

    @property
    def around_in(self) -> Fraction:
        """The circumference to work with: ASSUMED where it is unknown."""
        return self.circumference_in or USUAL_CIRCUMFERENCE_IN

    @property
    def is_pitch_unsaid(self) -> bool:
        """Whether another shop's bore counts as straight only because its pitch field was left empty."""
        return (self.typed or {}).get("bore_pitch") == STRAIGHT_UNASKED

    @property
    def is_notch_unsaid(self) -> bool:
        """Whether another shop's notch counts as ours only because its field was left empty."""
        return (self.typed or {}).get("notch") == NOTCH_UNASKED


class Inner(MadeInShop, Base):
    """A bowler's thumb piece in its own lock frame; it moves between balls. An outside or tilt of None is unknown."""

    __tablename__ = "inner"

    id: Mapped[int] = mapped_column(primary_key=True)
    bowler_id: Mapped[int] = mapped_column(ForeignKey("bowler.id"), index=True)
    label: Mapped[str] = mapped_column(String(80))
    system_id: Mapped[int] = mapped_column(ForeignKey("insert_system.id"), index=True)
    trimmed_in_id: Mapped[int] = mapped_column(ForeignKey("bore.id"), index=True)
    outside_in: Mapped[Fraction | None]
    hole_in: Mapped[Fraction | None]
    oval_in: Mapped[Fraction | None]
    oval_deg: Mapped[Fraction | None]
    forward_in: Mapped[Fraction | None]
    right_in: Mapped[Fraction | None]
    retired_at: Mapped[datetime | None]
    notes: Mapped[str] = mapped_column(Text, default="")
    typed: Mapped[dict[str, str]] = mapped_column(default=dict)
    created_at: Mapped[datetime] = mapped_column(default=now)
    version: Mapped[int] = mapped_column()

    bowler: Mapped[Bowler] = relationship(lazy="raise")
    system: Mapped[InsertSystem] = relationship(lazy="raise")
    trimmed_in: Mapped[Bore] = relationship(lazy="raise")

    __mapper_args__ = {"version_id_col": version}

    @property
    def counted_outside_in(self) -> Fraction:
        """The outside to work with. Where it is unknown, ASSUMED: the least size on offer that holds its hole.

        Over an unknown hole, or one that no size holds, it is the widest; without sizes the usual one.
        """
        if self.outside_in is not None:
            return self.outside_in
        sizes = sorted(map(Fraction, self.system.inner_ods))
        if not sizes:
            return min(USUAL_OUTSIDE_IN, self.system.sleeve_od_in or self.system.bore_in or USUAL_OUTSIDE_IN)
        if self.hole_in is None:
            return sizes[-1]
        return next((size for size in sizes if size > self.hole_in + (self.oval_in or 0)), sizes[-1])

    @property
    def is_tilt_unsaid(self) -> bool:
        """Whether its hole counts as parallel to the inner only because its tilt field was left empty."""
        return (self.typed or {}).get("tilt") == STRAIGHT_UNASKED
