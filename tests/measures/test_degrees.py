from fractions import Fraction

from app.measures.degrees import read_degrees
from app.measures.reading import LAYOUT_ANGLE


def test_an_unusual_angle_is_read_and_warned_of() -> None:
    seen = read_degrees("200", LAYOUT_ANGLE)
    assert (seen.value, len(seen.warnings)) == (Fraction(200), 1)
    assert read_degrees("35,5°", LAYOUT_ANGLE).value == Fraction(71, 2)
