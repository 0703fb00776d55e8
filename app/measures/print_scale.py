"""Reads what the scale bar of a printed sheet measured on paper."""

import re
from fractions import Fraction

from app.calculation.units import MM_PER_INCH
from app.measures.lengths import parse_length, read_by
from app.measures.reading import Ask, Quantity, Reading, Refuse

BAR_MM = Fraction(100)
BAR_IN = Fraction(4)
_MOST_OFF = Fraction(1, 10)  # ASSUMED: a printer further out was told to fit the page
_METRIC = re.compile(r"\d\s*(?:mm|millimet(?:er|re)s?|cm)\b")
_BAR = Quantity("bar", Fraction(3), Fraction(5), Fraction(3), Fraction(5))
_OTHER_BAR_IN = Fraction(1, 100)  # inches: a reading in mm so near 4 in is the other bar's


def read_print_scale(text: str) -> Reading[Fraction]:
    """Reads a bar's length and returns measured ÷ drawn, 0.9 to 1.1.

    A length in mm or cm is the 100 mm bar's, any other the 4 in bar's. A number that may be either is asked about, and
    so is the 4 in bar read in mm.
    """
    return read_by(text, _parse_scale)


def _parse_scale(plain: str, warnings: list[str]) -> Fraction:
    value_in = parse_length(plain, _BAR, warnings)
    is_metric = bool(_METRIC.search(plain))
    if is_metric and abs(value_in - BAR_IN) < _OTHER_BAR_IN:
        raise Ask("That is the 4 in bar, read in mm. Read the 100 mm bar, or write inches.", "4 in")
    scale = value_in * MM_PER_INCH / BAR_MM if is_metric else value_in / BAR_IN
    if abs(scale - 1) > _MOST_OFF:
        raise Refuse(
            "That is more than a tenth off: print at 100 % (actual size), not fitted to the page, and measure again."
        )
    return scale
