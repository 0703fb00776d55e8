"""Stacks of paper cards that are typed off: pictures that wait, what was typed, and who looked a second time."""

from datetime import datetime

from sqlalchemy import JSON, ForeignKey, Index, LargeBinary, String, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column, relationship

from app.models.base import Base, MadeInShop, now
from app.models.shops import Staff


class CardStack(MadeInShop, Base):
    """A stack of cards that are written in the same way; `ways` are its conventions and the order in its lines."""

    __tablename__ = "card_stack"

    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str] = mapped_column(String(80))
    ways: Mapped[dict[str, str]] = mapped_column(JSON, default=dict)
    staff_id: Mapped[int] = mapped_column(ForeignKey("staff.id"))
    at: Mapped[datetime] = mapped_column(default=now)
    version: Mapped[int] = mapped_column(default=1)

    staff: Mapped[Staff] = relationship(lazy="raise")


class PaperCard(MadeInShop, Base):
    """One card of a stack: its lines as typed, the ways they were read by, the answers, and what it made.

    A picture waits here until its card is typed; then it is a photo of the fit. Whoever types has the card until
    `held_until`. `word` is what the second person said of it, or why it was left out.
    """

    __tablename__ = "paper_card"
    __table_args__ = (UniqueConstraint("stack_id", "number"), Index("ix_paper_card_state", "stack_id", "state"))

    id: Mapped[int] = mapped_column(primary_key=True)
    stack_id: Mapped[int] = mapped_column(ForeignKey("card_stack.id"))
    number: Mapped[int]
    state: Mapped[str] = mapped_column(String(8), default="waiting")
    lines: Mapped[dict[str, str]] = mapped_column(JSON, default=dict)
    ways: Mapped[dict[str, str]] = mapped_column(JSON, default=dict)
    answers: Mapped[dict[str, str]] = mapped_column(JSON, default=dict)
    picture: Mapped[bytes] = mapped_column(LargeBinary, default=b"", deferred=True)
    has_picture: Mapped[bool] = mapped_column(default=False)
    photo_id: Mapped[int | None] = mapped_column(ForeignKey("photo.id", ondelete="SET NULL"), index=True)
    bowler_id: Mapped[int | None] = mapped_column(ForeignKey("bowler.id"), index=True)
    made_bowler: Mapped[bool] = mapped_column(default=False)
    fit_id: Mapped[int | None] = mapped_column(ForeignKey("fit.id"), index=True)
    typed_by_id: Mapped[int | None] = mapped_column(ForeignKey("staff.id"))
    typed_at: Mapped[datetime | None]
    checked_by_id: Mapped[int | None] = mapped_column(ForeignKey("staff.id"))
    checked_at: Mapped[datetime | None]
    word: Mapped[str] = mapped_column(String(400), default="")
    held_by_id: Mapped[int | None] = mapped_column(ForeignKey("staff.id"))
    held_until: Mapped[datetime | None]
    version: Mapped[int] = mapped_column(default=1)

    stack: Mapped[CardStack] = relationship(lazy="raise")
    typed_by: Mapped[Staff | None] = relationship(lazy="raise", foreign_keys=[typed_by_id])
    checked_by: Mapped[Staff | None] = relationship(lazy="raise", foreign_keys=[checked_by_id])
    held_by: Mapped[Staff | None] = relationship(lazy="raise", foreign_keys=[held_by_id])
