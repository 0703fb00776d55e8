from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.measures.describe import describe
from app.measures.wording import (
    in_64ths,
    in_words,
    inches,
    pitch_change,
    pitch_decimals,
    pitch_words,
    place_words,
    plain_fraction,
)


@settings(max_examples=300, deadline=None)
@given(st.fractions(min_value=-8, max_value=8, max_denominator=2048))
def test_the_shown_inches_are_within_half_a_thousandth(value: Fraction) -> None:
    shown = inches(value)
    text, _, rest = shown.partition(" + ")
    sign = 1
    if " − " in shown:
        text, _, rest = shown.partition(" − ")
        sign = -1
    parts = text.removeprefix("-").split(" ")
    size = sum(Fraction(p) for p in parts) * (-1 if text.startswith("-") else 1)
    assert abs(size + sign * Fraction(rest or 0) - value) <= Fraction(1, 2000)


def test_words() -> None:
    assert in_words(Fraction(1, 8)) == "one-eighth"
    assert in_words(Fraction(239, 64)) == "three and forty-seven sixty-fourths"
    assert in_words(Fraction(4)) == "four"
    assert plain_fraction(Fraction(-3, 8)) == "-3/8"
    assert in_64ths(2 / 64) == "+2/64 long"
    assert in_64ths(-1 / 64) == "1/64 short"
    assert in_64ths(0.0001) == "even"


@pytest.mark.parametrize(
    ("value", "words"),
    [
        (Fraction(50, 254), "about thirteen sixty-fourths (5 mm)"),  # 13/64 is 5.159 mm
        (float(Fraction(50, 254)), "about thirteen sixty-fourths (5 mm)"),
        (Fraction(6, 1000), "0.006 in"),
        (Fraction(1, 10), "about three thirty-seconds (0.1 in)"),
        (Fraction(1, 100_000), "0.00001 in"),
        (Fraction(5, 1), "five"),
        (1e-17, "zero"),
    ],
)
def test_words_keep_what_is_not_on_a_64th(value: Fraction | float, words: str) -> None:
    assert in_words(value) == words


@settings(max_examples=300)
@given(st.fractions(min_value=0, max_value=2, max_denominator=4096))
def test_words_of_a_number_are_plain_only_on_a_64th(value: Fraction) -> None:
    words = in_words(value)
    on_a_64th = 64 % value.denominator == 0
    assert (" in" in words or " mm" in words) == (not on_a_64th)
    assert words.startswith("zero") == (value == 0)


def test_a_pitch_off_the_64ths_is_told_with_its_own_number() -> None:
    assert describe("pitch", "5 mm reverse, 0.006 left", "right", "thumb").words == (
        "about thirteen sixty-fourths (5 mm) reverse; 0.006 in to the left, away from the palm"
    )
    assert pitch_words(Fraction(0), Fraction(1e-17)) == "straight"


def test_a_small_change_of_pitch_is_a_change() -> None:
    assert pitch_change(Fraction(0), Fraction(1, 1000), "forward", "reverse") == "0.001 in more forward (0.01°)"
    assert pitch_change(Fraction(1, 8), Fraction(1, 8), "forward", "reverse") == ""
    less = pitch_change(Fraction(1, 8), Fraction(1, 8) - Fraction(1, 1000), "forward", "reverse")
    assert less == "0.001 in more reverse (0.01°)"
    # by hand: asin(3/8 ÷ 4.2972) − asin(1/4 ÷ 4.2972) = 5.006° − 3.335°
    assert pitch_change(Fraction(1, 4), Fraction(3, 8), "forward", "reverse") == "4/32 more forward (1.67°)"


@pytest.mark.parametrize(
    ("forward", "right", "words"),
    [
        (-0.25, 0.125, "0.250 reverse, 0.125 right"),
        (0.0, -0.1875, "0.1875 left"),
        (0.00006, 0.0, "0.0001 forward"),
        (0.00004, -0.00004, "0.000"),
    ],
)
def test_a_pitch_to_rebuild_a_hole_by_has_four_places(forward: float, right: float, words: str) -> None:
    assert pitch_decimals(forward, right) == words


@pytest.mark.parametrize(
    ("along", "across", "words"),
    [
        (2.046875, -0.015625, "2 3/64 (2.0469) forward, 1/64 (0.0156) left"),
        (-0.5, 0.25, "1/2 (0.500) back, 1/4 (0.250) right"),
        (-0.5, 0.00004, "1/2 (0.500) back"),
    ],
)
def test_a_place_is_told_by_its_sides(along: float, across: float, words: str) -> None:
    assert place_words(along, across) == words
