"""Whose a record is: balls and inners that went to another bowler, and two records of one bowler made one.

A merger moves the rows of one record to the other and keeps here what each row was, so that parting is exact: `rows`
names the rows of either side, `fits` their revision and state, `kept_before` and `kept_after` the particulars of the
record that stays. Rows in none of the lists were written while the two were one. Parting empties all of these.
"""

from datetime import datetime

from sqlalchemy import JSON, ForeignKey, String
from sqlalchemy.orm import Mapped, mapped_column, relationship

from app.models.balls import Ball, Inner
from app.models.base import Base, MadeInShop, now
from app.models.bowlers import Bowler
from app.models.shops import Staff


class OwnerChange(MadeInShop, Base):
    """One ball or inner that went from one bowler to another, and whether it went back as a mistake."""

    __tablename__ = "owner_change"

    id: Mapped[int] = mapped_column(primary_key=True)
    ball_id: Mapped[int | None] = mapped_column(ForeignKey("ball.id"), index=True)
    inner_id: Mapped[int | None] = mapped_column(ForeignKey("inner.id"), index=True)
    from_id: Mapped[int] = mapped_column(ForeignKey("bowler.id"), index=True)
    to_id: Mapped[int] = mapped_column(ForeignKey("bowler.id"), index=True)
    why: Mapped[str] = mapped_column(String(400))
    staff_id: Mapped[int] = mapped_column(ForeignKey("staff.id"))
    at: Mapped[datetime] = mapped_column(default=now)
    undone_at: Mapped[datetime | None]
    undone_reason: Mapped[str] = mapped_column(String(400), default="")

    ball: Mapped[Ball | None] = relationship(lazy="raise")
    inner: Mapped[Inner | None] = relationship(lazy="raise")
    owner_before: Mapped[Bowler] = relationship(lazy="raise", foreign_keys=[from_id])
    owner_after: Mapped[Bowler] = relationship(lazy="raise", foreign_keys=[to_id])
    staff: Mapped[Staff] = relationship(lazy="raise")


class Merger(MadeInShop, Base):
    """Two records of one bowler that became one, `gone` part of `kept`, until `parted_at`."""

    __tablename__ = "merger"

    id: Mapped[int] = mapped_column(primary_key=True)
    kept_id: Mapped[int] = mapped_column(ForeignKey("bowler.id"), index=True)
    gone_id: Mapped[int] = mapped_column(ForeignKey("bowler.id"), index=True)
    why: Mapped[str] = mapped_column(String(400))
    staff_id: Mapped[int] = mapped_column(ForeignKey("staff.id"))
    at: Mapped[datetime] = mapped_column(default=now)
    kept_before: Mapped[dict[str, str]] = mapped_column(default=dict)
    kept_after: Mapped[dict[str, str]] = mapped_column(default=dict)
    rows: Mapped[dict[str, list[int]]] = mapped_column(JSON, default=dict)
    fits: Mapped[dict[str, str]] = mapped_column(default=dict)
    parted_at: Mapped[datetime | None]
    parted_by_id: Mapped[int | None] = mapped_column(ForeignKey("staff.id"))
    parted_reason: Mapped[str] = mapped_column(String(400), default="")

    kept: Mapped[Bowler] = relationship(lazy="raise", foreign_keys=[kept_id])
    gone: Mapped[Bowler] = relationship(lazy="raise", foreign_keys=[gone_id])
    staff: Mapped[Staff] = relationship(lazy="raise", foreign_keys=[staff_id])
