from fractions import Fraction

from app.measures.degrees import read_degrees
from app.measures.reading import LAYOUT_ANGLE


def test_an_unusual_angle_is_read_and_warned_of() -> None:
    seen = read_degrees("-20", LAYOUT_ANGLE)
    assert (seen.value, len(seen.warnings)) == (Fraction(-20), 1)
    assert read_degrees("35,5°", LAYOUT_ANGLE).value == Fraction(71, 2)


def test_more_than_half_a_turn_is_asked_about_and_read_as_the_calculation_has_it() -> None:
    asked = read_degrees("329 1/2", LAYOUT_ANGLE)
    assert (asked.value, asked.text, asked.choices) == (None, "329 1/2", ("-30 1/2",))
    assert read_degrees(asked.choices[0], LAYOUT_ANGLE).value == Fraction(-61, 2)


def test_a_whole_turn_is_no_angle_and_not_asked_about() -> None:
    seen = read_degrees("360", LAYOUT_ANGLE)
    assert (seen.state, seen.choices) == ("error", ())


def test_just_over_half_a_turn_is_just_under_it_the_other_way() -> None:
    assert read_degrees("180 1/2", LAYOUT_ANGLE).choices == ("-179 1/2",)
