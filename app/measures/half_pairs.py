"""Two spans of which one is not known: `middle 4 1/2, ring unknown`."""

import re
from fractions import Fraction

from app.measures.lengths import is_unknown, parse_length
from app.measures.reading import Quantity

_NOT_KNOWN = r"\s*[:=]?\s*(?:unknown|\?)"
_AN_UNKNOWN_SPAN = re.compile(rf"\b(?:middle|ring){_NOT_KNOWN}(?![a-z])", re.IGNORECASE)


def parse_half(
    plain: str, fingers: tuple[str, str], quantity: Quantity, warnings: list[str]
) -> dict[str, Fraction] | None:
    """Returns the span that is known by its finger; None for any other text. `fingers` are patterns of their names."""
    named = dict(zip(("middle", "ring"), fingers, strict=True))
    for known, other in (("middle", "ring"), ("ring", "middle")):
        is_first = rf"{named[known]}(?![a-z])\s*[:=]?\s*(?P<span>\S.*?)\s*[,;]?\s*\b{named[other]}{_NOT_KNOWN}"
        is_last = rf"{named[other]}{_NOT_KNOWN}\s*[,;]?\s*{named[known]}(?![a-z])\s*[:=]?\s*(?P<span>\S.*)"
        for pattern in (is_first, is_last):
            if found := re.fullmatch(pattern, plain):
                return {known: parse_length(found["span"], quantity, warnings)}
    return None


def tells_unknown(text: str) -> bool:
    """Whether a text says that a measure is not known, or one of its two spans."""
    return is_unknown(text) or bool(_AN_UNKNOWN_SPAN.search(text))
