import random
import re
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.measures.lengths import is_unknown, read_length
from app.measures.reading import DEPTH, QUANTITIES
from app.measures.spelling import LONGEST_TEXT
from app.measures.wording import exact
from tests.measures.styles import STYLES, TRADE, canonical, damages, written

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


def test_what_is_written_out_reads_back_exactly() -> None:
    pick = random.Random(20261125)
    for _ in range(COUNT):
        value = random_value(pick)
        reading = read_length(exact(value), DEPTH)
        assert reading.state == "value", (value, exact(value), reading)
        assert reading.value == value


def test_signed_values_read_back_exactly() -> None:
    pick = random.Random(1)
    for _ in range(5_000):
        value = Fraction(pick.randrange(-64, 65), 64)
        assert read_length(exact(value), QUANTITIES["proud"]).value == value


@settings(max_examples=300, deadline=None)
@given(st.sampled_from(STYLES), TRADE)
def test_a_size_in_any_style_reads_back_and_no_damage_changes_it_silently(
    style: str, size: tuple[int, tuple[int, int]]
) -> None:
    text, meant = written(style, size)
    reading = read_length(text, DEPTH)
    if reading.state == "ask":  # 3,125: a decimal comma or thousands
        assert re.fullmatch(r"\d,\d{3}", text)
    else:
        assert reading.value == meant, (text, reading)
    for damaged in damages(text):
        seen = read_length(damaged, DEPTH)
        assert seen.state != "value" or seen.value in {meant, canonical(damaged)}, (text, damaged, seen)


def test_zero_absent_and_unknown_are_three_things() -> None:
    states = [read_length(text, QUANTITIES["tolerance"]).state for text in ("0", "none", "unknown")]
    assert states == ["value", "absent", "unknown"]


@pytest.mark.parametrize(
    ("text", "is_usable"),
    [("1/64", True), ("none", True), ("unknown", True), ("43/8", False), ("x", False)],
)
def test_a_form_takes_what_was_read_and_not_what_is_asked_or_refused(text: str, is_usable: bool) -> None:
    assert read_length(text, QUANTITIES["span"] if "43" in text else QUANTITIES["tolerance"]).is_usable == is_usable


def test_an_ambiguous_text_offers_spellings_that_read() -> None:
    for text in ("43/8", "11/2", "4 3 8", "94.9", "4,375"):
        reading = read_length(text, QUANTITIES["span"])
        assert reading.choices
        assert any(read_length(choice, QUANTITIES["span"]).state == "value" for choice in reading.choices), text


def test_unusual_is_saved_with_a_warning() -> None:
    for kind, text in (("span", "6 1/2"), ("hole", "15/32"), ("circumference", "26.5"), ("span", "4.3")):
        reading = read_length(text, QUANTITIES[kind])
        assert reading.state == "value"
        assert reading.warnings


def test_a_question_offers_each_choice_once() -> None:
    asked = read_length("4 1/2+-", QUANTITIES["span"])
    assert (asked.state, asked.choices) == ("ask", ("4 33/64", "4 1/2"))


def test_a_text_says_that_a_measure_is_unknown_or_it_does_not() -> None:
    texts = ("unknown", " Unknown ", "4 1/8", "", "unknown" * LONGEST_TEXT)
    assert [is_unknown(text) for text in texts] == [True, True, False, False, False]


def test_the_bounds_of_what_can_be_are_told_as_they_are() -> None:
    """0.02 is no 64th: told as `1/64 + 0.004` nobody knew it again."""
    assert read_length("0.01", QUANTITIES["bridge"]).message.endswith("can be: 0.02 to 2 in.")


def test_a_number_may_end_in_its_point() -> None:
    assert read_length("27.", QUANTITIES["circumference"]).value == 27


@pytest.mark.parametrize(("text", "sum_in"), [("-1/2 - 1/16", Fraction(-9, 16)), ("-1/2 + 1/16", Fraction(-7, 16))])
def test_a_small_part_adds_to_a_height_below_the_ball_as_to_one_above(text: str, sum_in: Fraction) -> None:
    assert read_length(text, QUANTITIES["proud"]).value == sum_in
    assert read_length(text.removeprefix("-"), QUANTITIES["proud"]).value == Fraction(1, 2) + (
        Fraction(1, 16) if "+" in text else Fraction(-1, 16)
    )


def test_a_bare_count_below_64_may_be_64ths_and_from_64_on_thousandths() -> None:
    asked = {text: read_length(text, QUANTITIES["bridge"]).choices for text in ("63", "64")}
    assert asked == {"63": ("63/64", "63 in"), "64": ("64 thou", "64 in")}
