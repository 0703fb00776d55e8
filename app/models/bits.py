from datetime import datetime

from sqlalchemy import ForeignKey, String, Text
from sqlalchemy.orm import Mapped, mapped_column, relationship

from app.models.base import Base, MadeInShop, now
from app.models.shops import Staff


class Bit(MadeInShop, Base):
    """One bit with its collar; bench steps refer to it by its label."""

    __tablename__ = "bit"

    id: Mapped[int] = mapped_column(primary_key=True)
    label: Mapped[str] = mapped_column(String(40), unique=True)
    material: Mapped[str] = mapped_column(String(60), default="")
    bores_limit: Mapped[int | None]
    notes: Mapped[str] = mapped_column(Text, default="")


class BitEvent(MadeInShop, Base):
    """Work on a bit or its collar, such as sharpening; each event restarts the bit's chart."""

    __tablename__ = "bit_event"

    id: Mapped[int] = mapped_column(primary_key=True)
    bit_id: Mapped[int] = mapped_column(ForeignKey("bit.id"), index=True)
    what: Mapped[str] = mapped_column(String(20))
    note: Mapped[str] = mapped_column(String(400), default="")
    staff_id: Mapped[int] = mapped_column(ForeignKey("staff.id"))
    at: Mapped[datetime] = mapped_column(default=now)

    staff: Mapped[Staff] = relationship(lazy="raise")
