import re
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.measures.ovals import read_clock, read_oval, read_towards
from tests.measures.styles import damages


@settings(max_examples=250, deadline=None)
@given(st.integers(0, 719), st.sampled_from(["{h}:{m:02d}", "{h}:{m:02d} o'clock", "{h}h{m:02d}", "{deg} right", "{deg}° clockwise", "R{deg}", "{left} left", "L{left}", "{left} ccw", "-{left}"]))  # fmt: skip
def test_a_direction_in_any_style_reads_back_and_no_damage_changes_it_silently(minutes: int, style: str) -> None:
    turn = Fraction(minutes, 2)
    comma = f"{float(360 - turn):g}".replace(".", ",")
    text = style.format(h=minutes // 60 or 12, m=minutes % 60, deg=f"{float(turn):g}", left=comma)
    reading = read_clock(text)
    assert reading.value == turn % 360, (text, reading)
    for damaged in damages(text):
        seen = read_clock(damaged)
        plain = re.fullmatch(r"(R|L|-)?(\d{1,3}(?:[.,]5)?)(?:° ?| )?(right|clockwise|left|ccw)?", damaged)
        legible = plain and (-1 if plain[1] in {"L", "-"} or plain[3] in {"left", "ccw"} else 1) * Fraction(
            plain[2].replace(",", ".")
        )
        assert seen.state != "value" or seen.value in {turn % 360, legible and legible % 360}, (text, damaged, seen)


def test_a_direction_goes_once_round() -> None:
    assert read_clock("360 left").value == 0
    assert read_clock("360°").value == 0
    assert read_clock("12").state == "ask"  # o'clock or degrees
    assert read_clock("13").value == 13
    assert read_clock("361 left").state == read_clock("361°").state == "error"


def test_hours_go_to_twelve_however_they_are_written() -> None:
    asked, refused = read_clock("12.25 o'clock"), read_clock("13.25 o'clock")
    assert (asked.state, asked.choices) == ("ask", ("12:25", "12:15"))
    assert (refused.state, refused.choices) == ("error", ())


def test_one_decimal_of_an_hour_may_be_tens_of_minutes() -> None:
    """By hand: three tenths of an hour are 18 minutes."""
    assert read_clock("10.3 o'clock").choices == ("10:30", "10:18")


def test_a_choice_of_a_size_keeps_its_direction() -> None:
    assert read_towards("1/8+- @ 6:00").choices == ("9/64 @ 6:00", "1/8 @ 6:00")


@pytest.mark.parametrize(
    ("text", "widths"),
    [
        ("1 x 1/2 @ 45", (Fraction(1, 2), Fraction(1, 2))),  # a 1/2 hole made 1 wide: half of a number is near it
        ("1 x 31/64 @ 45", (Fraction(1), Fraction(31, 64))),  # less than half is how much wider
        ("1/2 + 31/64 @ 45", (Fraction(1, 2), Fraction(31, 64))),
        ("1/2 + 1/2 @ 45", None),  # wider by as much as the hole is wide: asked about
    ],
)
def test_a_second_number_is_a_width_or_what_is_added(text: str, widths: tuple[Fraction, Fraction] | None) -> None:
    oval = read_oval(text).value
    assert (oval and (oval.hole_in, oval.oval_in)) == widths
