"""The kinds of values that a card's fields hold: each writes a value as CBOR and reads it back, in its range.

A length is a whole number of 64ths of an inch if it is one, else `[ten-thousandths]`, else `[top, bottom]` in lowest
terms; so every exact value of at most 64 bits comes back as it was. Ranges are wide: they keep out what is no measure
at all, and belong to the format, not to what a form accepts today.
"""

import unicodedata
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, timedelta
from fractions import Fraction
from typing import Generic, TypeVar

from app.cards.cbor import Cbor

T = TypeVar("T")


class OutOfKind(ValueError):
    """A value that a field cannot hold."""


class FurtherKind(OutOfKind):
    """A field or a word that a later version of this format may have."""


@dataclass(frozen=True)
class Kind(Generic[T]):
    """How one kind of value is written and read; both raise OutOfKind."""

    write: Callable[[T], Cbor]
    read: Callable[[Cbor], T]


def _require(holds: bool, words: str) -> None:
    if not holds:
        raise OutOfKind(words)


def _read_int(raw: Cbor) -> int:
    if not isinstance(raw, int) or isinstance(raw, bool):
        raise OutOfKind("is no whole number")
    return raw


def _exact(unit: int, has_decimals: bool, low: int, high: int) -> Kind[Fraction]:
    """Exact numbers from `low` to `high`: whole 1/`unit`, perhaps ten-thousandths, or any fraction."""

    def write(value: Fraction) -> Cbor:
        _require(low <= value <= high, "is out of range")
        if unit % value.denominator == 0:
            return value.numerator * (unit // value.denominator)
        if has_decimals and 10_000 % value.denominator == 0:
            return [value.numerator * (10_000 // value.denominator)]
        return [value.numerator, value.denominator]

    def read(raw: Cbor) -> Fraction:
        parts = raw if isinstance(raw, list) else [raw, unit]
        if has_decimals and len(parts) == 1:
            parts = [*parts, 10_000]
        _require(len(parts) == 2, "is no number")
        top, bottom = map(_read_int, parts)
        _require(bottom > 0, "is no number")
        value = Fraction(top, bottom)
        _require(low <= value <= high, "is out of range")
        return value

    return Kind(write, read)


SIZE = _exact(64, True, 0, 8)  # inches
PITCH = _exact(64, True, -3, 3)  # inches
AROUND = _exact(64, True, 20, 30)  # inches
ANGLE = _exact(1, False, -360, 360)  # degrees


def count(low: int, high: int) -> Kind[int]:
    """A whole number from `low` to `high`."""

    def check(value: Cbor) -> int:
        number = _read_int(value)
        _require(low <= number <= high, "is out of range")
        return number

    return Kind(check, check)


_JOINERS = "\u200c\u200d"  # letters of some scripts, and pictures, are joined or kept apart by them


def text(most: int) -> Kind[str]:
    """A text of at most `most` characters, none of them a control or a change of direction."""

    def check(value: Cbor) -> str:
        if not isinstance(value, str):
            raise OutOfKind("is no text")
        _require(len(value) <= most, "is too long")
        hidden = any(unicodedata.category(c) in {"Cc", "Cf", "Cs"} and c not in _JOINERS for c in value)
        _require(not hidden, "holds a hidden character")
        return value

    return Kind(check, check)


def blob(size: int) -> Kind[bytes]:
    """Exactly `size` bytes."""

    def check(value: Cbor) -> bytes:
        if not isinstance(value, bytes) or len(value) != size:
            raise OutOfKind(f"is not {size} bytes")
        return value

    return Kind(check, check)


def choice(*values: T) -> Kind[T]:
    """One of a closed set, written as its place in `values`: append to them only, or older cards change."""

    def write(value: T) -> Cbor:
        _require(value in values, "is none of its words")
        return values.index(value)

    def read(raw: Cbor) -> T:
        place = _read_int(raw)
        if place >= len(values):
            raise FurtherKind("is a word that this format does not have")
        _require(place >= 0, "is none of its words")
        return values[place]

    return Kind(write, read)


_FIRST_DAY, _LAST_DAY = date(2000, 1, 1), date(2199, 12, 31)


def _write_day(value: date) -> Cbor:
    _require(_FIRST_DAY <= value <= _LAST_DAY, "is out of range")
    return (value - _FIRST_DAY).days


def _read_day(raw: Cbor) -> date:
    days = _read_int(raw)
    _require(0 <= days <= (_LAST_DAY - _FIRST_DAY).days, "is out of range")
    return _FIRST_DAY + timedelta(days)


DAY = Kind(_write_day, _read_day)


def _check_flag(value: Cbor) -> bool:
    _require(value is True, "is no mark")
    return True


FLAG = Kind[bool](_check_flag, _check_flag)


def several(kind: Kind[T], most: int) -> Kind[tuple[T, ...]]:
    """At most `most` values of one kind."""

    def write(values: tuple[T, ...]) -> Cbor:
        _require(len(values) <= most, "are too many")
        return [kind.write(value) for value in values]

    def read(raw: Cbor) -> tuple[T, ...]:
        if not isinstance(raw, list):
            raise OutOfKind("is no list")
        _require(len(raw) <= most, "are too many")
        return tuple(kind.read(value) for value in raw)

    return Kind(write, read)
