"""Shops, ours and others.

A merger moves no records: `merged_into_id` is the shop that another counts as when observations are read, each
observation keeps its shop, and clearing the field undoes the merger.
"""

from datetime import datetime
from fractions import Fraction

from sqlalchemy import ForeignKey, LargeBinary, String, Text, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column, relationship

from app.models.base import Base, MadeInShop


class Shop(MadeInShop, Base):
    """A pro shop: one of the chain, or another whose drillings bowlers bring in.

    One of the chain has an accent colour on its pages and may have a picture beside its name. Another that came with a
    card which was taken back has `removed_at` while nothing uses it: it is kept, and offered nowhere.
    """

    __tablename__ = "shop"

    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str] = mapped_column(String(120), unique=True)
    town: Mapped[str] = mapped_column(String(120), default="")
    is_ours: Mapped[bool] = mapped_column(default=False)
    notes: Mapped[str] = mapped_column(Text, default="")
    accent: Mapped[str] = mapped_column(String(10), default="petrol")
    picture: Mapped[bytes | None] = mapped_column(LargeBinary, deferred=True)
    picture_type: Mapped[str] = mapped_column(String(20), default="")
    merged_into_id: Mapped[int | None] = mapped_column(ForeignKey("shop.id"))
    removed_at: Mapped[datetime | None]
    version: Mapped[int] = mapped_column()

    __mapper_args__ = {"version_id_col": version}


class Staff(Base):
    """A member of staff; the bench shows initials to tap. Password and PIN are Argon2id hashes, empty if not set."""

    __tablename__ = "staff"
    __table_args__ = (UniqueConstraint("shop_id", "initials"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    shop_id: Mapped[int | None] = mapped_column(ForeignKey("shop.id"))
    name: Mapped[str] = mapped_column(String(120))
    initials: Mapped[str] = mapped_column(String(6))
    role: Mapped[str] = mapped_column(String(8), default="driller")
    sign_in_name: Mapped[str] = mapped_column(String(60), unique=True)
    password_hash: Mapped[str] = mapped_column(String(200), default="")
    pin_hash: Mapped[str] = mapped_column(String(200), default="")
    invite_hash: Mapped[str] = mapped_column(String(64), default="")
    invited_until: Mapped[datetime | None]
    is_active: Mapped[bool] = mapped_column(default=True)
    version: Mapped[int] = mapped_column()

    shop: Mapped[Shop | None] = relationship(lazy="raise")

    __mapper_args__ = {"version_id_col": version}


class Rule(Base):
    """A rule of the whole chain with a whole number as its value, such as whether a shop edits only its own records."""

    __tablename__ = "rule"

    name: Mapped[str] = mapped_column(String(60), primary_key=True)
    value: Mapped[int]
    version: Mapped[int] = mapped_column()

    __mapper_args__ = {"version_id_col": version}


class ShopLimit(Base):
    """A limit that the shop has set; without a row the default applies and is shown as ASSUMED.

    `freedom` is the degrees of freedom of a doubt from a gauge study; None for a stated number.
    """

    __tablename__ = "setting"

    name: Mapped[str] = mapped_column(String(60), primary_key=True)
    value_in: Mapped[Fraction]
    typed: Mapped[str] = mapped_column(String(120))
    source: Mapped[str] = mapped_column(String(200))
    freedom: Mapped[float | None]
    version: Mapped[int] = mapped_column()

    __mapper_args__ = {"version_id_col": version}
