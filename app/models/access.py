"""Sign-ins, failed tries of passwords and PINs, passes, API tokens, and keys of sent forms."""

from datetime import datetime

from sqlalchemy import JSON, ForeignKey, Index, String
from sqlalchemy.orm import Mapped, mapped_column, relationship

from app.models.base import Base, now
from app.models.shops import Staff


class SignIn(Base):
    """One browser on which a person signed in by password. Others may act on it by PIN until it ends."""

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
    """One failed try of a password or PIN, counted before it is checked and kept for a day.

    `name` and `address` are the sign-in name and network address for a password, the ids of person and shop for a PIN.
    """

    __tablename__ = "attempt"
    __table_args__ = (Index("ix_attempt_name_at", "name", "at"), Index("ix_attempt_address_at", "address", "at"))

    id: Mapped[int] = mapped_column(primary_key=True)
    kind: Mapped[str] = mapped_column(String(8), default="password")
    name: Mapped[str] = mapped_column(String(60))
    address: Mapped[str] = mapped_column(String(64))
    at: Mapped[datetime] = mapped_column(default=now)


class TickPass(Base):
    """A token that replaces a person's PIN in ticks of one drilling for an hour, so that no browser stores the PIN."""

    __tablename__ = "tick_pass"

    id: Mapped[int] = mapped_column(primary_key=True)
    token_hash: Mapped[str] = mapped_column(String(64), unique=True)
    staff_id: Mapped[int] = mapped_column(ForeignKey("staff.id"))
    shop_id: Mapped[int | None] = mapped_column(ForeignKey("shop.id"))
    drilling_id: Mapped[int]  # not a foreign key: a pass expires long before its drilling goes
    expires_at: Mapped[datetime] = mapped_column(index=True)


class ApiToken(Base):
    """A token for the records' API of one shop; shown once, stored as a hash."""

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
    """The idempotency key of a saved form, and the URL to which its sender was redirected."""

    __tablename__ = "sent_form"

    key: Mapped[str] = mapped_column(String(80), primary_key=True)
    location: Mapped[str] = mapped_column(String(2000), default="")
    at: Mapped[datetime] = mapped_column(default=now, index=True)
