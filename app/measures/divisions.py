"""Finds the smallest division that readings were written in."""

import re
from collections.abc import Iterable
from fractions import Fraction

from app.calculation.units import MM_PER_INCH, SIXTY_FOURTH
from app.measures.reading import Refuse
from app.measures.spelling import LONGEST_TEXT, clean

_MILLIMETRES = re.compile(r"(?<![a-z])(mm|millimet(?:er|re)s?)\b")
_CENTIMETRES = re.compile(r"(?<![a-z])cm\b")
_THOU = re.compile(r"thou|mils?\b")
_DECIMAL = re.compile(r"\d*[.,](\d+)|\d+")


def division_in(texts: Iterable[str]) -> Fraction:
    """Returns the coarsest step, in inches, to which any of these readings of one instrument was written; 0 for none.

    A fraction is read to 1/64, the finest step ruled in the trade (common practice, no source). A decimal is read to
    its last place, that of the longest decimal among these texts, since 2.69 may be 2.690; a decimal of four places or
    more that equals a 64th counts as a 64th. The result is never coarser than 1/64, the step of the coarsest gauge.
    """
    places: dict[Fraction, int] = {}
    found = []
    for text in texts:
        try:
            plain = clean(text)
        except Refuse:
            plain = text[:LONGEST_TEXT]
        if not plain:
            continue
        decimal = _DECIMAL.search(plain)
        if "/" in plain or "64th" in plain or decimal is None:
            found.append(SIXTY_FOURTH)
            continue
        digits = len(decimal[1] or "")
        unit = Fraction(1)
        if _MILLIMETRES.search(plain):
            unit = 1 / MM_PER_INCH
        elif _CENTIMETRES.search(plain):
            unit = 10 / MM_PER_INCH
        elif _THOU.search(plain):
            unit = Fraction(1, 1000)
        elif digits >= 4 and (Fraction(decimal[0].replace(",", ".")) * 64).denominator == 1:
            found.append(SIXTY_FOURTH)
            continue
        places[unit] = max(places.get(unit, 0), digits)
    found += [unit / 10**digits for unit, digits in places.items()]
    return min(max(found, default=Fraction(0)), SIXTY_FOURTH)
