import random
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.measures.describe import KINDS, described
from app.measures.lengths import read_length
from app.measures.reading import DEPTH, QUANTITIES
from app.measures.wording import exact, in_64ths, in_words, inches, pitch_change, pitch_words, plain_fraction

COUNT = 100_000


def random_value(pick: random.Random) -> Fraction:
    """A trade fraction, a decimal, a metric size or any fraction, within what a depth can be."""
    kind = pick.randrange(4)
    if kind == 0:
        return Fraction(pick.randrange(7, 384), 64)
    if kind == 1:
        return Fraction(pick.randrange(1001, 59_999), 10_000)
    if kind == 2:
        return Fraction(pick.randrange(30, 1520), 254)
    return Fraction(pick.randrange(1, 5 * 997), 997) + Fraction(1, 8)


def test_what_is_written_out_reads_back_exactly():
    pick = random.Random(20261125)
    for _ in range(COUNT):
        value = random_value(pick)
        reading = read_length(exact(value), DEPTH)
        assert reading.state == "value", (value, exact(value), reading)
        assert reading.value == value


def test_signed_values_read_back_exactly():
    pick = random.Random(1)
    for _ in range(5_000):
        value = Fraction(pick.randrange(-64, 65), 64)
        assert read_length(exact(value), QUANTITIES["proud"]).value == value


TRADE_CHARACTERS = "0123456789 /-+.,'\"@:xXrRlLfFmin½⅜″′⁄°→undeway"


@settings(max_examples=1_500, deadline=None)
@given(st.sampled_from(KINDS), st.text(alphabet=TRADE_CHARACTERS, max_size=24))
def test_nothing_typed_raises(kind, text):
    described(kind, text, "right", "thumb", "middle")


@settings(max_examples=500, deadline=None)
@given(st.sampled_from(KINDS), st.text(max_size=60))
def test_no_text_of_any_kind_raises(kind, text):
    described(kind, text)


@settings(max_examples=300)
@given(st.fractions(min_value=-8, max_value=8, max_denominator=2048))
def test_the_shown_inches_are_within_half_a_thousandth(value):
    shown = inches(value)
    text, _, rest = shown.partition(" + ")
    sign = 1
    if " − " in shown:
        text, _, rest = shown.partition(" − ")
        sign = -1
    parts = text.removeprefix("-").split(" ")
    size = sum(Fraction(p) for p in parts) * (-1 if text.startswith("-") else 1)
    assert abs(size + sign * Fraction(rest or 0) - value) <= Fraction(1, 2000)


def test_words():
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
def test_words_keep_what_is_not_on_a_64th(value, words):
    assert in_words(value) == words


@settings(max_examples=300)
@given(st.fractions(min_value=0, max_value=2, max_denominator=4096))
def test_words_of_a_number_are_plain_only_on_a_64th(value):
    words = in_words(value)
    on_a_64th = 64 % value.denominator == 0
    assert (" in" in words or " mm" in words) == (not on_a_64th)
    assert words.startswith("zero") == (value == 0)


def test_a_pitch_off_the_64ths_is_told_with_its_own_number():
    assert described("pitch", "5 mm reverse, 0.006 left", "right", "thumb").words == (
        "about thirteen sixty-fourths (5 mm) reverse; 0.006 in to the left, away from the palm"
    )
    assert pitch_words(Fraction(0), Fraction(1e-17)) == "straight"


def test_a_small_change_of_pitch_is_a_change():
    assert pitch_change(Fraction(0), Fraction(1, 1000), "forward", "reverse") == "0.001 in more forward (0.01°)"
    assert pitch_change(Fraction(1, 8), Fraction(1, 8), "forward", "reverse") == ""


def test_a_pitch_is_read_back_with_its_side_and_the_palm():
    assert described("pitch", "3/8 reverse, 1/8 right", "right", "thumb").words == (
        "three-eighths reverse; one-eighth to the right, towards the palm"
    )
    shown = described("pitch", "3/8 reverse, 1/8 right", "left", "thumb")
    assert shown.words.endswith("away from the palm")
    assert (shown.arrow.up_in, shown.arrow.right_in) == (-0.375, 0.125)
