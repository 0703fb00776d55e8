"""Reads an angle of a layout in degrees."""

import re
from fractions import Fraction

from app.measures.lengths import NUMBER, parse_number, read_by, use_decimal_points
from app.measures.reading import Ask, Quantity, Reading, Refuse
from app.measures.spelling import COMMA_TOLD
from app.measures.wording import exact

_ANGLE = re.compile(rf"(?P<sign>[-−]?)\s*(?P<number>{NUMBER})\s*(?:°|deg(?:rees?)?)?")


def read_degrees(text: str, quantity: Quantity) -> Reading[Fraction]:
    """Reads `35°`, `35`, `35.5 deg`, `35 1/2` as degrees; asks about more than half a turn."""
    return read_by(text, lambda plain, warnings: _parse_degrees(plain, quantity, warnings))


def _parse_degrees(plain: str, quantity: Quantity, warnings: list[str]) -> Fraction:
    points = use_decimal_points(plain)
    warnings += [COMMA_TOLD] if points != plain else []
    match = _ANGLE.fullmatch(points)
    if not match:
        raise Refuse("Write an angle like 35 or 35 1/2°.")
    value = parse_number(match["number"])[0] * (-1 if match["sign"] else 1)
    if quantity.high < value < 360 and value - 360 >= quantity.low:
        half = exact(quantity.high)
        raise Ask(f"An {quantity.name} is at most {half} degrees. Is it swung the other way?", exact(value - 360))
    if not quantity.low <= value <= quantity.high:
        raise Refuse(f"An {quantity.name} is {exact(quantity.low)} to {exact(quantity.high)} degrees.")
    if not quantity.usual_low <= value <= quantity.usual_high:
        warnings.append(f"Unusual: an {quantity.name} is mostly {exact(quantity.usual_low)} to "
                        f"{exact(quantity.usual_high)} degrees.")  # fmt: skip
    return value
