from datetime import datetime

from sqlalchemy import JSON, ForeignKey, String
from sqlalchemy.orm import Mapped, mapped_column, relationship

from app.models.base import Base, MadeInShop, now
from app.models.shops import Staff


class Study(MadeInShop, Base):
    """A gauge study of one instrument: readings[person][trial][part], exact inches as text."""

    __tablename__ = "study"

    id: Mapped[int] = mapped_column(primary_key=True)
    instrument: Mapped[str] = mapped_column(String(80))
    measures: Mapped[str] = mapped_column(String(20))
    readings: Mapped[list[list[list[str]]]] = mapped_column(JSON)
    typed: Mapped[dict[str, str]] = mapped_column(default=dict)
    staff_id: Mapped[int] = mapped_column(ForeignKey("staff.id"))
    made_at: Mapped[datetime] = mapped_column(default=now)

    staff: Mapped[Staff] = relationship(lazy="raise")
