from datetime import datetime

from sqlalchemy import ForeignKey
from sqlalchemy.orm import Mapped, mapped_column, relationship

from app.models.base import Base, MadeInShop, now
from app.models.shops import Staff


class IntakeRow(MadeInShop, Base):
    """A draft: one row of a visitor's set that was refused, stored as typed until it can be saved."""

    __tablename__ = "intake_row"

    id: Mapped[int] = mapped_column(primary_key=True)
    typed: Mapped[dict[str, str]] = mapped_column(default=dict)
    staff_id: Mapped[int] = mapped_column(ForeignKey("staff.id"))
    at: Mapped[datetime] = mapped_column(default=now)

    staff: Mapped[Staff] = relationship(lazy="raise")
