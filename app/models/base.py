"""Shared by every table: the declarative base, exact numbers, and times in UTC.

Typed text and exact value are both stored: values as fractions (`Exact`), texts in the column `typed`. Converting and
rounding on save would corrupt measures. Unknown is NULL. Where an empty field has a value all the same, `typed` holds
words in place of a text (`STRAIGHT_UNASKED`), so that absent, zero and unknown are three things in every export.
"""

from datetime import UTC, datetime
from fractions import Fraction
from functools import lru_cache

from sqlalchemy import JSON, DateTime, ForeignKey, MetaData, String
from sqlalchemy.engine import Dialect
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column
from sqlalchemy.types import TypeDecorator


class Exact(TypeDecorator[Fraction]):
    """An exact number, stored as the text of its fraction: `263/64`. No measure is stored as a float."""

    impl = String(64)
    cache_ok = True

    def process_bind_param(self, value: Fraction | None, dialect: Dialect) -> str | None:
        return None if value is None else str(value)

    def process_result_value(self, value: str | None, dialect: Dialect) -> Fraction | None:
        return None if value is None else _read_fraction(value)


_read_fraction = lru_cache(maxsize=5_000)(Fraction)  # measures repeat, and rows hold dozens of them


class Moment(TypeDecorator[datetime]):
    """A time in UTC, stored without a time zone."""

    impl = DateTime
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        return None if value is None else value.astimezone(UTC).replace(tzinfo=None)

    def process_result_value(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        return None if value is None else value.replace(tzinfo=UTC)


class Base(DeclarativeBase):
    metadata = MetaData(
        naming_convention={
            "ix": "ix_%(column_0_label)s",
            "uq": "uq_%(table_name)s_%(column_0_N_name)s",
            "ck": "ck_%(table_name)s_%(constraint_name)s",
            "fk": "fk_%(table_name)s_%(column_0_name)s_%(referred_table_name)s",
            "pk": "pk_%(table_name)s",
        }
    )
    type_annotation_map = {Fraction: Exact, datetime: Moment, dict[str, str]: JSON}


class MadeInShop:
    """A record with the shop of the chain that made it; `app.db` sets it from the session for every new record."""

    made_by_shop_id: Mapped[int | None] = mapped_column(ForeignKey("shop.id"))


def now() -> datetime:
    return datetime.now(UTC)
