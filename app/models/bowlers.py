from datetime import datetime

from sqlalchemy import ForeignKey, Index, String, Text, text
from sqlalchemy.orm import Mapped, mapped_column, relationship

from app.models.base import Base, MadeInShop, now
from app.models.shops import Shop


class Bowler(MadeInShop, Base):
    """A bowler. A record with `merged_into_id` is part of that one until the two are parted again (`Merger`).

    A record that was taken in by mistake has `removed_at`: it is kept, so that it can be put back, and not found.
    """

    __tablename__ = "bowler"
    __table_args__ = (
        Index(  # few of very many: with every NULL in it, SQLite's statistics rule it out
            "ix_bowler_merged_into_id",
            "merged_into_id",
            sqlite_where=text("merged_into_id IS NOT NULL"),
            postgresql_where=text("merged_into_id IS NOT NULL"),
        ),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str] = mapped_column(String(120), index=True)
    phone: Mapped[str] = mapped_column(String(40), default="")
    phone_digits: Mapped[str] = mapped_column(String(40), default="", index=True)
    phone_last4: Mapped[str] = mapped_column(String(4), default="", index=True)
    hand: Mapped[str] = mapped_column(String(5))
    home_shop_id: Mapped[int | None] = mapped_column(ForeignKey("shop.id"), index=True)
    notes: Mapped[str] = mapped_column(Text, default="")
    is_minor: Mapped[bool] = mapped_column(default=False)
    league: Mapped[str] = mapped_column(String(80), default="")
    guardian: Mapped[str] = mapped_column(String(160), default="")
    consent: Mapped[str] = mapped_column(String(400), default="")
    erased_at: Mapped[datetime | None]
    merged_into_id: Mapped[int | None] = mapped_column(ForeignKey("bowler.id"))
    removed_at: Mapped[datetime | None]
    removed_reason: Mapped[str] = mapped_column(String(400), default="")
    created_at: Mapped[datetime] = mapped_column(default=now)
    version: Mapped[int] = mapped_column()

    home_shop: Mapped[Shop | None] = relationship(lazy="raise", foreign_keys=[home_shop_id])

    __mapper_args__ = {"version_id_col": version}


class BowlerWord(Base):
    """One row of the search index: a folded word of the bowler's name, phone, league or a ball's serial.

    Keys are never reused (`sqlite_autoincrement`), so that each process reads only rows after the last key it knows.
    """

    __tablename__ = "bowler_word"
    __table_args__ = (
        Index("ix_bowler_word_word_bowler_id", "word", "bowler_id"),
        Index("ix_bowler_word_bowler_id_word_kind", "bowler_id", "word", "kind"),
        {"sqlite_autoincrement": True},
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    bowler_id: Mapped[int] = mapped_column(ForeignKey("bowler.id"))
    word: Mapped[str] = mapped_column(String(60).with_variant(String(60, collation="C"), "postgresql"))
    kind: Mapped[str] = mapped_column(String(6), default="name")
