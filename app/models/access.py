"""Who is signed in where, what was tried in vain, what may call the API, and which forms have been sent."""

from datetime import datetime

from sqlalchemy import JSON, ForeignKey, Index, String
from sqlalchemy.orm import Mapped, mapped_column, relationship

from app.models.base import Base, now
from app.models.shops import Staff


class SignIn(Base):
    """One browser that somebody signed in on in full. Others may act on it by PIN until it ends."""

    __tablename__ = "sign_in"

    id: Mapped[int] = mapped_column(primary_key=True)
    token_hash: Mapped[str] = mapped_column(String(64), unique=True)
    opened_by_id: Mapped[int] = mapped_column(ForeignKey("staff.id"), index=True)
    staff_id: Mapped[int] = mapped_column(ForeignKey("staff.id"), index=True)
    is_full: Mapped[bool] = mapped_column(default=True)
    browser: Mapped[str] = mapped_column(String(200), default="")
    pin_failures: Mapped[int] = mapped_column(default=0)
    at: Mapped[datetime] = mapped_column(default=now)
    seen_at: Mapped[datetime] = mapped_column(default=now)
    ended_at: Mapped[datetime | None]

    opened_by: Mapped[Staff] = relationship(lazy="raise", foreign_keys=[opened_by_id])
    staff: Mapped[Staff] = relationship(lazy="raise", foreign_keys=[staff_id])


class Attempt(Base):
    """One try of a password or PIN that was not right, counted before it is checked; kept a day.

    A password's is of a sign-in name from an address, a PIN's of a person (by id) in a shop (by id).
    """

    __tablename__ = "attempt"
    __table_args__ = (Index("ix_attempt_name_at", "name", "at"), Index("ix_attempt_address_at", "address", "at"))

    id: Mapped[int] = mapped_column(primary_key=True)
    kind: Mapped[str] = mapped_column(String(8), default="password")
    name: Mapped[str] = mapped_column(String(60))
    address: Mapped[str] = mapped_column(String(64))
    at: Mapped[datetime] = mapped_column(default=now)


class TickPass(Base):
    """Stands for somebody's PIN in ticks of one drilling for an hour, so that no browser has to keep the PIN."""

    __tablename__ = "tick_pass"

    id: Mapped[int] = mapped_column(primary_key=True)
    token_hash: Mapped[str] = mapped_column(String(64), unique=True)
    staff_id: Mapped[int] = mapped_column(ForeignKey("staff.id"))
    shop_id: Mapped[int | None] = mapped_column(ForeignKey("shop.id"))
    drilling_id: Mapped[int]  # no link: a pass is gone long before its drilling
    expires_at: Mapped[datetime] = mapped_column(index=True)


class ApiToken(Base):
    """A key to the records' API for one shop; shown once, kept as a hash."""

    __tablename__ = "api_token"

    id: Mapped[int] = mapped_column(primary_key=True)
    label: Mapped[str] = mapped_column(String(80))
    shop_id: Mapped[int] = mapped_column(ForeignKey("shop.id"))
    staff_id: Mapped[int] = mapped_column(ForeignKey("staff.id"))
    scopes: Mapped[list[str]] = mapped_column(JSON)
    token_hash: Mapped[str] = mapped_column(String(64), unique=True)
    made_at: Mapped[datetime] = mapped_column(default=now)
    ended_at: Mapped[datetime | None]

    staff: Mapped[Staff] = relationship(lazy="raise")


class SentForm(Base):
    """A form that was saved, by the key it carried, and where its sender was sent on to."""

    __tablename__ = "sent_form"

    key: Mapped[str] = mapped_column(String(80), primary_key=True)
    location: Mapped[str] = mapped_column(String(2000), default="")
    at: Mapped[datetime] = mapped_column(default=now, index=True)
