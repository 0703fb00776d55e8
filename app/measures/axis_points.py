"""Reads an axis point with the side that its text names, so that one on the wrong hand's side is asked about."""

import re
from dataclasses import dataclass

from app.measures.lengths import read_by
from app.measures.pairs import AxisPoint, read_axis_point
from app.measures.reading import Reading
from app.measures.wording import exact

_SIDE = re.compile(r"\s*\b(?:to the )?(right|left)\b\s*")


@dataclass(frozen=True)
class SidedAxisPoint(AxisPoint):
    """An axis point, and `right` or `left` where its text says on which side of the centre line; else empty."""

    side: str = ""


def read_sided_axis_point(text: str) -> Reading[SidedAxisPoint]:
    """Reads `4 1/2 over 1/2 up`, `4 1/2 right over 1/2 up`, `4 1/2 over to the left, 1/4 down`."""
    sides = read_by(text, lambda plain, _: sorted(set(_SIDE.findall(plain))))
    named = sides.value or []
    if len(named) > 1:
        return Reading(text, "error", message="Right and left: on which side of the centre line is it?")
    if not named:
        return _take(read_axis_point(text), text, "")
    plain = read_by(text, lambda plain, _: _SIDE.sub(" ", plain).strip()).value
    if not plain:
        return Reading(text, "error", message="How far over, and how far up or down?")
    return _take(read_axis_point(plain), text, named[0])


def _take(found: Reading[AxisPoint], text: str, side: str) -> Reading[SidedAxisPoint]:
    """Returns a reading of the point with its side, its choices with the side put back."""
    choices = tuple(choice.replace(" over", f" {side} over", 1) if side else choice for choice in found.choices)
    value = SidedAxisPoint(found.value.over_in, found.value.up_in, side) if found.value else None
    return Reading(text, found.state, value, found.warnings, found.message, choices)


def write_point(point: AxisPoint, side: str = "") -> str:
    """`4 1/2 right over 1/2 up`: a spelling that reads back as this point."""
    way = "down" if point.up_in < 0 else "up"
    return f"{exact(point.over_in)}{' ' + side if side else ''} over {exact(abs(point.up_in))} {way}"
