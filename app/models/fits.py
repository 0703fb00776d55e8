from datetime import datetime
from fractions import Fraction

from sqlalchemy import ForeignKey, Index, String, Text, UniqueConstraint, text
from sqlalchemy.orm import Mapped, mapped_column, relationship

from app.closed_sets import DIGITS_OF, Digit
from app.measures.wording import letter_of
from app.models.base import Base, MadeInShop, now
from app.models.bowlers import Bowler
from app.models.shops import Staff
from app.models.systems import InsertSystem


class Fit(MadeInShop, Base):
    """One revision of a bowler's fit as specified. A fit in force is frozen; revising copies it.

    Without a thumb hole its spans are reaches from the palm's plus. What a grip of fewer holes has not is NULL, the
    bridge's edges are empty, and the row of a hole that it has not holds nothing. `is_off_card`: it, or one that it
    revises, was typed off a paper card.
    """

    __tablename__ = "fit"
    __table_args__ = (
        UniqueConstraint("bowler_id", "hand", "revision"),
        Index(  # few of very many, shown at the counter
            "ix_fit_drafts", "bowler_id", sqlite_where=text("state = 'draft'"), postgresql_where=text("state = 'draft'")
        ),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    bowler_id: Mapped[int] = mapped_column(ForeignKey("bowler.id"), index=True)
    hand: Mapped[str] = mapped_column(String(5))
    revision: Mapped[int]
    state: Mapped[str] = mapped_column(String(10))
    reason: Mapped[str] = mapped_column(String(200))
    author_id: Mapped[int] = mapped_column(ForeignKey("staff.id"))
    created_at: Mapped[datetime] = mapped_column(default=now)
    in_force_at: Mapped[datetime | None]
    revised_from_id: Mapped[int | None] = mapped_column(ForeignKey("fit.id"))
    style: Mapped[str] = mapped_column(String(14))
    grip_holes: Mapped[str] = mapped_column(String(12), default="three")
    span_middle_in: Mapped[Fraction | None]
    span_ring_in: Mapped[Fraction | None]
    span_edges: Mapped[str] = mapped_column(String(8))
    bridge_in: Mapped[Fraction | None]
    bridge_edges: Mapped[str] = mapped_column(String(8))
    system_id: Mapped[int | None] = mapped_column(ForeignKey("insert_system.id"))
    hand_notes: Mapped[str] = mapped_column(Text, default="")
    clinician_notes: Mapped[str] = mapped_column(Text, default="")
    discarded_reason: Mapped[str] = mapped_column(String(400), default="")
    is_off_card: Mapped[bool] = mapped_column(default=False, server_default=text("false"))
    typed: Mapped[dict[str, str]] = mapped_column(default=dict)
    version: Mapped[int] = mapped_column()

    bowler: Mapped[Bowler] = relationship(lazy="raise")
    author: Mapped[Staff] = relationship(lazy="raise")
    system: Mapped[InsertSystem | None] = relationship(lazy="raise")
    holes: Mapped[list["FitHole"]] = relationship(lazy="raise", order_by="FitHole.id", cascade="all")

    __mapper_args__ = {"version_id_col": version}

    @property
    def letter(self) -> str:
        return letter_of(self.revision)

    @property
    def digits(self) -> tuple[Digit, ...]:
        """The holes that its grip has."""
        return DIGITS_OF[self.grip_holes or "three"]

    @property
    def fingers(self) -> tuple[Digit, ...]:
        return tuple(digit for digit in self.digits if digit != "thumb")

    @property
    def is_thumbless(self) -> bool:
        return self.grip_holes == "thumbless"

    def span_in(self, finger: str) -> Fraction | None:
        """Its span to a finger, or reach of it, inches."""
        return self.span_middle_in if finger == "middle" else self.span_ring_in

    def hole(self, digit: str) -> "FitHole":
        return next(h for h in self.holes if h.digit == digit)


class FitHole(Base):
    """One hole of a fit: finished size, pitch, oval, and for a finger the bore that its insert needs.

    The inside of a finger's insert may stand off the bore's axis by `lift_in` towards `lift_deg`. `system` is the
    insert chosen from the shop's hardware, from which come what the fit itself does not say of bore, oval and lift.
    `offset_in` is how far the thumb hole stands off the centre line, to the right positive; NULL if on it.
    """

    __tablename__ = "fit_hole"
    __table_args__ = (UniqueConstraint("fit_id", "digit"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    fit_id: Mapped[int] = mapped_column(ForeignKey("fit.id"))
    digit: Mapped[str] = mapped_column(String(6))
    hole_in: Mapped[Fraction | None]
    cut_in: Mapped[Fraction | None]
    oval_in: Mapped[Fraction | None]
    oval_deg: Mapped[Fraction | None]
    forward_in: Mapped[Fraction | None]
    right_in: Mapped[Fraction | None]
    depth_in: Mapped[Fraction | None]
    offset_in: Mapped[Fraction | None]
    system_id: Mapped[int | None] = mapped_column(ForeignKey("insert_system.id"), index=True)
    lift_in: Mapped[Fraction | None]
    lift_deg: Mapped[Fraction | None]

    system: Mapped[InsertSystem | None] = relationship(lazy="joined")  # every page that shows a hole names it
