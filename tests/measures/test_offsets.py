"""How far a thumb stands off the centre line, as it is written in the trade (common practice, no source)."""

from fractions import Fraction

import pytest

from app.measures.offsets import read_offset


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("1/8 left", Fraction(-1, 8)), ("1/8 R", Fraction(1, 8)), ("right 3/16", Fraction(3, 16)), ("0", 0), ("0 left", 0),
        ("3 mm to the left", Fraction(-3 * 5, 127)), (".125 lt", Fraction(-1, 8)), ("left by 1/16", Fraction(-1, 16)), ("1/8→", Fraction(1, 8)),
    ],
)  # fmt: skip
def test_an_offset_is_read_to_its_side(text: str, value: Fraction) -> None:
    assert read_offset(text).value == value


@pytest.mark.parametrize(
    ("text", "state", "choices"),
    [
        ("1/8+- left", "ask", ("9/64 left", "1/8 left")), ("1/8+- right", "ask", ("9/64 right", "1/8 right")),
        ("1/8+-", "ask", ("9/64", "1/8")), ("1/8", "ask", ("1/8 left", "1/8 right")), ("left 1/8 right", "ask", ("1/8 left", "1/8 right")), ("unknown", "unknown", ()),
        ("", "absent", ()), ("none", "absent", ()), ("left", "error", ()), ("2 in left", "error", ()), ("1/8 under", "error", ()),
    ],
)  # fmt: skip
def test_an_offset_without_a_side_is_asked_about(text: str, state: str, choices: tuple[str, ...]) -> None:
    reading = read_offset(text)
    assert (reading.state, reading.choices) == (state, choices)


def test_what_cannot_be_read_is_quoted_whole() -> None:
    assert "“1/8 under”" in read_offset("1/8 under").message
    assert read_offset("-1/8 left").message == "An offset cannot be negative."
