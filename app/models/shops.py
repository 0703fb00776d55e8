from fractions import Fraction

from sqlalchemy import ForeignKey, String, Text
from sqlalchemy.orm import Mapped, mapped_column

from app.models.base import Base


class Shop(Base):
    """A pro shop: ours, and every other whose work comes through the door."""

    __tablename__ = "shop"

    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str] = mapped_column(String(120), unique=True)
    town: Mapped[str] = mapped_column(String(120), default="")
    is_ours: Mapped[bool] = mapped_column(default=False)
    notes: Mapped[str] = mapped_column(Text, default="")
    merged_into_id: Mapped[int | None] = mapped_column(ForeignKey("shop.id"))
    version: Mapped[int] = mapped_column()

    __mapper_args__ = {"version_id_col": version}


class Staff(Base):
    """Who acts; initials are what the bench taps."""

    __tablename__ = "staff"

    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str] = mapped_column(String(120))
    initials: Mapped[str] = mapped_column(String(6), unique=True)
    is_active: Mapped[bool] = mapped_column(default=True)


class Setting(Base):
    """One number the shop has set for itself; without a row the default holds and shows as ASSUMED."""

    __tablename__ = "setting"

    name: Mapped[str] = mapped_column(String(60), primary_key=True)
    value_in: Mapped[Fraction]
    typed: Mapped[str] = mapped_column(String(120))
    source: Mapped[str] = mapped_column(String(200))
