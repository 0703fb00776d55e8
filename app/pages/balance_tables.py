"""What a weighing was told as rows of a table, each figure to a hundredth so that what adds up does as it is shown.

Found less predicted is the difference as shown, and what is left to the readings takes what rounding leaves over.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from pydantic import JsonValue

from app.measures.balance_words import WAYS, to_hundredth

Told = Mapping[str, JsonValue]


@dataclass(frozen=True)
class Row:
    """A label and ounces right, finger side, top; None where it was not read."""

    label: str
    ounces: tuple[float | None, ...]
    is_strong: bool = False


def list_rows(told: Told) -> list[Row]:
    """Returns found, predicted, their difference and what each doubt accounts for; nothing without a difference."""
    if not isinstance(told.get("difference"), dict):
        return []
    found, predicted = (_read(told.get(name)) for name in ("found", "predicted"))
    is_read = [value is not None for value in found]
    difference = [to_hundredth((f or 0.0) - (p or 0.0)) for f, p in zip(found, predicted, strict=True)]
    rows = [Row("Found", found), Row("Predicted", predicted), Row("Difference", tuple(difference), True)]
    if told.get("is_explained", True):
        shares = _list_shares(told.get("shares"))
        rows += shares
        left = [d - sum(s.ounces[i] or 0.0 for s in shares) for i, d in enumerate(difference)]
        rows.append(Row("by the readings, and what is left", tuple(to_hundredth(value) for value in left)))
    return [_blank(row, is_read) for row in rows]


def _list_shares(shares: JsonValue) -> list[Row]:
    """The shares that show; the others are left to the readings."""
    told = [share for share in shares if isinstance(share, dict)] if isinstance(shares, list) else []
    rows = [Row(f"by the {share.get('source')}", _read(share.get("change"))) for share in told]
    return [row for row in rows if any(row.ounces)]


def _read(of: JsonValue) -> tuple[float | None, ...]:
    values = [of.get(way) if isinstance(of, dict) else None for way in WAYS]
    return tuple(to_hundredth(float(value)) if isinstance(value, int | float) else None for value in values)


def _blank(row: Row, is_read: Sequence[bool]) -> Row:
    return Row(row.label, tuple(v if yes else None for v, yes in zip(row.ounces, is_read, strict=True)), row.is_strong)
