"""Reads how far a thumb hole stands off the centre line, seen from outside: `1/8 left`."""

import re
from fractions import Fraction

from app.measures.lengths import parse_length, read_by
from app.measures.reading import OFFSET, Ask, Reading, ask_within
from app.measures.wording import exact

_LEFT, _RIGHT = r"left|lt|l|←", r"right|rt|r|→"
_OFFSET = re.compile(
    rf"(?:(?P<before>{_LEFT}|{_RIGHT})(?![a-z])(?: by)?\s*)?(?P<size>.*?)\s*"
    rf"(?:(?<![a-z])(?:to the )?(?P<after>{_LEFT}|{_RIGHT}))?"
)


def read_offset(text: str) -> Reading[Fraction]:
    """Reads `1/8 left` as inches across, to the right positive; a size without a side asks."""
    return read_by(text, _parse)


def _parse(plain: str, warnings: list[str]) -> Fraction:
    match = _OFFSET.fullmatch(plain)
    written, sides = plain, set[bool]()
    if match:
        written = match["size"]
        sides = {bool(re.fullmatch(_RIGHT, side)) for side in match.group("before", "after") if side}
    side = " right" if sides == {True} else " left" if sides == {False} else ""
    size = ask_within(lambda: parse_length(written, OFFSET, warnings), lambda choice: choice + side)
    if size and len(sides) != 1:
        raise Ask("Off the centre line to which side?", f"{exact(size)} left", f"{exact(size)} right")
    return size if sides == {True} else -size
