from datetime import datetime

from sqlalchemy import ForeignKey, Index, String, Text, text
from sqlalchemy.orm import Mapped, mapped_column, relationship

from app.models.base import Base, MadeInShop, now
from app.models.shops import Staff

GUESSED = "wrong tries"  # the field of lines about too many of them, of a password or PIN
_IS_GUESSED = text(f"field = '{GUESSED}'")


class Change(MadeInShop, Base):
    """One line of history: who changed which field from what to what, when and why. Rows are only ever added."""

    __tablename__ = "change"
    __table_args__ = (
        Index("ix_change_record", "noun", "noun_id"),
        Index("ix_change_visits", "bowler_id", "at"),
        Index("ix_change_at_bowler", "at", "bowler_id"),
        Index("ix_change_guessed", "at", sqlite_where=_IS_GUESSED, postgresql_where=_IS_GUESSED),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    at: Mapped[datetime] = mapped_column(default=now)
    staff_id: Mapped[int | None] = mapped_column(ForeignKey("staff.id"))
    noun: Mapped[str] = mapped_column(String(20))
    noun_id: Mapped[int]
    bowler_id: Mapped[int | None] = mapped_column(ForeignKey("bowler.id"))
    field: Mapped[str] = mapped_column(String(400))
    old: Mapped[str] = mapped_column(Text, default="")
    new: Mapped[str] = mapped_column(Text, default="")
    why: Mapped[str] = mapped_column(String(400), default="")

    staff: Mapped[Staff | None] = relationship(lazy="raise")
