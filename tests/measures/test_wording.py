from collections.abc import Callable
from fractions import Fraction

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from app.measures.describe import describe
from app.measures.wording import (
    clock_words,
    decimal,
    degree_words,
    exact,
    in_64ths,
    in_words,
    inches,
    inches_within,
    lateral_words,
    letter_of,
    mark_words,
    nearest_mark,
    number_words,
    own_number,
    pitch_change,
    pitch_decimals,
    pitch_words,
    place_words,
    plain_fraction,
    proud_words,
    share_words,
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


@pytest.mark.parametrize(
    ("share", "words"),
    [(0.0, "0.0 %"), (1e-9, "under 0.1 %"), (0.0005, "0.1 %"), (0.966, "96.6 %"), (0.9994, "99.9 %"),
     (0.9996, "over 99.9 %"), (1.0, "100.0 %")],
)  # fmt: skip
def test_a_share_is_none_or_all_only_if_it_is(share: float, words: str) -> None:
    assert share_words(share) == words


def test_words() -> None:
    assert in_words(Fraction(1, 8)) == "one-eighth"
    assert in_words(Fraction(239, 64)) == "three and forty-seven sixty-fourths"
    assert in_words(Fraction(4)) == "four"
    assert plain_fraction(Fraction(-3, 8)) == "-3/8"
    assert in_64ths(2 / 64) == "+2/64 long"
    assert in_64ths(-1 / 64) == "1/64 short"
    assert in_64ths(0.0001) == "even"
    assert [proud_words(v / 64) for v in (2, -1, 0.01)] == ["+2/64 proud", "1/64 sunk", "flush"]


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


@pytest.mark.parametrize(
    ("told", "words"),
    [
        (lambda: [number_words(n) for n in (0, 19, 20, 21, 90, 99, 100)], ["zero", "nineteen", "twenty", "twenty-one", "ninety", "ninety-nine", "100"]),
        (lambda: [decimal(x) for x in (3.734375, 0.25, -0.00001, 2, 3.734, -0.5)], ["3.7344", "0.250", "0.000", "2.000", "3.734", "-0.500"]),
        (lambda: [decimal(x, 2) for x in (1.5, 1.005, 0)], ["1.50", "1.00", "0.00"]),
        (lambda: [inches(x) for x in (3.737375, 1.0064996, 1.0065004, 0.9996, 0.9994, 1.0004, 1.0006, -0.25)], ["3 47/64 + 0.003", "1 + 0.006", "1 + 0.007", "1", "1 − 0.001", "1", "1 + 0.001", "-1/4"]),
        (lambda: [inches(x) for x in (0.0045, -0.003, 0.0078125)], ["0.0045", "-0.003", "0.0078"]),
        (lambda: [clock_words(x) for x in (0, 30, 359, -45, 15.5, 180, 720.5)], ["12:00 (0°)", "1:00 (30°)", "11:58 (359°)", "10:30 (315°)", "12:31 (15.5°)", "6:00 (180°)", "12:01 (0.5°)"]),
        (lambda: [in_64ths(x / 64) for x in (40.3, -40.3, 0.04, 0.06, 64)], ["+40.3/64 long", "40.3/64 short", "even", "+0.1/64 long", "+64/64 long"]),
        (lambda: [in_words(Fraction(n, 64)) for n in (1, 19, 20, 76, 63, 128, 6)], ["one sixty-fourth", "nineteen sixty-fourths", "five-sixteenths", "one and three-sixteenths", "sixty-three sixty-fourths", "two", "three thirty-seconds"]),
        (lambda: [own_number(Fraction(x)) for x in ("0.1", "25/127", "1/3", "0.00002", "0.000012")], ["0.1 in", "5 mm", "0.3333 in", "0.00002 in", "0.00001 in"]),
        (lambda: [exact(Fraction(x)) for x in ("1/3", "0.003", "7/8", "-35/8", "1/128", "13/7")], ["1/3", "0.003", "7/8", "-4 3/8", "0.0078125", "1 6/7"]),
        (lambda: [lateral_words(Fraction(x), "right", "thumb") for x in ("1/8", "-1/8", "0")], ["one-eighth to the right, towards the palm", "one-eighth to the left, away from the palm", "straight side to side"]),
        (lambda: [lateral_words(Fraction(1, 8), hand, hole) for hand, hole in (("left", "thumb"), ("right", "ring"), ("right", ""), ("", "thumb"))], ["one-eighth to the right, away from the palm", *["one-eighth to the right"] * 3]),
        (lambda: [pitch_words(Fraction(a), Fraction(b)) for a, b in ((0, 1), (1, 0), (0, 0))], ["straight up and down; one to the right", "one forward; straight side to side", "straight"]),
    ],
)  # fmt: skip
def test_a_number_is_written_as_the_trade_reads_it(told: Callable[[], list[str]], words: list[str]) -> None:
    # worked by hand; common practice of the trade, no source
    assert told() == words


@pytest.mark.parametrize(
    ("value", "words"),
    [
        # worked by hand: a 64th is 0.015625, and within an eighth of it (0.00195) a mark is on it
        (2.765, "2 49/64"),  # 0.0006 under
        (2.7637, "2 49/64"),  # 0.00192 under
        (2.7636, "2 49/64 shy"),
        (2.7675, "2 49/64"),  # 0.00188 over
        (2.7676, "2 49/64 full"),
        (2.773, "2 49/64 full"),  # nearer to 2.765625 than to 2.78125
        (2.774, "2 25/32 shy"),
        (4.0, "4"),
        (Fraction(1231, 10000), "1/8"),  # 0.0019 under
        (0.1229, "1/8 shy"),
        (0.0045, "0.0045"),
        (0.0015, "0.0015"),  # a small pitch or move is not none
        (0.00004, "0"),
        (0.0, "0"),
    ],
)
def test_a_mark_is_told_to_its_64th_full_or_shy(value: Fraction | float, words: str) -> None:
    assert mark_words(value) == words


@settings(max_examples=200)
@example(Fraction(513, 512))  # just an eighth of a 64th over, and under
@example(Fraction(511, 512))
@given(st.fractions(min_value=0, max_value=8, max_denominator=4096))
def test_full_is_more_and_shy_is_less_than_its_64th(value: Fraction) -> None:
    near, word = nearest_mark(value)
    assert abs(value - near) <= Fraction(1, 128)
    assert (word == "full") == (value - near > Fraction(1, 512))
    assert (word == "shy") == (near - value > Fraction(1, 512))


@pytest.mark.parametrize(
    ("angle", "words"), [(35.0, "35°"), (42.46, "42.5°"), (-12.0, "−12°"), (-0.04, "0°"), (179.99, "180°")]
)
def test_an_angle_is_told_to_a_tenth_of_a_degree(angle: float, words: str) -> None:
    assert degree_words(angle) == words


@pytest.mark.parametrize(
    ("value", "doubt_in", "words"),
    [
        (1 + 43 / 64 - 0.001, 0.206, "1 5/8"),  # an eighth is the coarsest division no coarser than the doubt
        (1 + 43 / 64 - 0.001, 1 / 16, "1 11/16"),
        (1 + 43 / 64 - 0.001, 0.01, "1 43/64"),
        (0.02, 1 / 16, "under 1/32"),
        (0.0, 1 / 16, "under 1/32"),
        (2.0, 5.0, "2"),
    ],
)
def test_a_length_is_no_sharper_than_its_doubt(value: float, doubt_in: float, words: str) -> None:
    assert inches_within(value, doubt_in) == words


def test_revisions_are_lettered_as_columns_of_a_spreadsheet() -> None:
    """Common practice, no source: after Z come AA, AB … ZZ, then AAA; by hand 26 + 26 × 26 is 702."""
    numbers = (1, 26, 27, 28, 52, 53, 702, 703)
    assert [letter_of(number) for number in numbers] == ["A", "Z", "AA", "AB", "AZ", "BA", "ZZ", "AAA"]


def test_twelve_decimals_are_written_out_and_thirteen_are_not() -> None:
    """By hand: 1 / 2¹² has twelve decimals, 1 / 2¹³ thirteen."""
    assert exact(Fraction(1, 2**12)) == "0.000244140625"
    assert exact(Fraction(1, 2**13)) == "1/8192"
