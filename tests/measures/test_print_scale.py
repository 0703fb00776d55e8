from fractions import Fraction

import pytest

from app.measures.print_scale import read_print_scale


@pytest.mark.parametrize(("text", "scale"), [
    ("98.5 mm", Fraction(985, 1000)), ("10.1 cm", Fraction(101, 100)), ("4", Fraction(1)), ("3 15/16", Fraction(63, 64)),
    ("3.9 in", Fraction(39, 40)), ("100mm", Fraction(1)),
    # a tenth off is the most that is taken, either way
    ("110 mm", Fraction(11, 10)), ("90 mm", Fraction(9, 10)), ("4.4 in", Fraction(11, 10)), ("3.6 in", Fraction(9, 10)),
])  # fmt: skip
def test_millimetres_are_the_metric_bars_and_inches_the_other_ones(text: str, scale: Fraction) -> None:
    assert read_print_scale(text).value == scale


@pytest.mark.parametrize(("text", "state"), [
    ("", "absent"), ("98.5", "ask"), ("101.6 mm", "ask"), ("89 mm", "error"), ("4.5 in", "error"), ("a hand", "error"), ("-4", "error"),
])  # fmt: skip
def test_what_cannot_be_a_bar_is_refused_or_asked_about(text: str, state: str) -> None:
    reading = read_print_scale(text)
    assert reading.state == state
    assert reading.is_usable == (state == "absent")
