from datetime import datetime

from sqlalchemy import ForeignKey, String
from sqlalchemy.orm import Mapped, mapped_column, relationship

from app.models.base import Base, MadeInShop, now
from app.models.drillings import Drilling
from app.models.shops import Staff
from app.models.systems import InsertSystem


class Trouble(MadeInShop, Base):
    """One line of the service log: what was wrong with an inner or sleeve, its hardware, and its drilling if known."""

    __tablename__ = "trouble"

    id: Mapped[int] = mapped_column(primary_key=True)
    system_id: Mapped[int] = mapped_column(ForeignKey("insert_system.id"), index=True)
    drilling_id: Mapped[int | None] = mapped_column(ForeignKey("drilling.id"), index=True)
    what: Mapped[str] = mapped_column(String(20))
    note: Mapped[str] = mapped_column(String(400), default="")
    staff_id: Mapped[int] = mapped_column(ForeignKey("staff.id"))
    at: Mapped[datetime] = mapped_column(default=now)

    system: Mapped[InsertSystem] = relationship(lazy="raise")
    drilling: Mapped[Drilling | None] = relationship(lazy="raise")
    staff: Mapped[Staff] = relationship(lazy="raise")
