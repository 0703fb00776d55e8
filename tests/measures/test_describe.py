from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.measures.describe import KINDS, _describe_ounces, describe
from tests.conftest import not_none

TRADE_CHARACTERS = "0123456789 /-+.,'\"@:xXrRlLfFmin½⅜″′⁄°→undeway"


@settings(max_examples=1_500, deadline=None)
@given(st.sampled_from(KINDS), st.text(alphabet=TRADE_CHARACTERS, max_size=24))
def test_nothing_typed_raises(kind: str, text: str) -> None:
    describe(kind, text, "right", "thumb", "middle")


@settings(max_examples=500, deadline=None)
@given(st.sampled_from(KINDS), st.text(max_size=60))
def test_no_text_of_any_kind_raises(kind: str, text: str) -> None:
    describe(kind, text)


def test_a_pitch_is_read_back_with_its_side_and_the_palm() -> None:
    assert describe("pitch", "3/8 reverse, 1/8 right", "right", "thumb").words == (
        "three-eighths reverse; one-eighth to the right, towards the palm"
    )
    shown = describe("pitch", "3/8 reverse, 1/8 right", "left", "thumb")
    assert shown.words.endswith("away from the palm")
    assert (not_none(shown.arrow).up_in, not_none(shown.arrow).right_in) == (-0.375, 0.125)


@pytest.mark.parametrize(
    ("kind", "text", "words"),
    [
        ("span", "4 and a half", "four and one-half"),
        ("span", "4 3/16 + 1/64", "four and thirteen sixty-fourths"),
        ("pitch", "0 1/8L", "straight up and down; one-eighth to the left, away from the palm"),
        ("pitch", "3/8F-1/8Rt", "three-eighths forward; one-eighth to the right, towards the palm"),
        ("span_pair", "R=4 3/8, M=4½", "middle four and one-half; ring four and three-eighths"),
        ("clock", "10½ o'clock", "10:30 (315°)"),
        ("proud", "sunk 1/64", "one sixty-fourth sunk"),
        ("oval", "1 x 1,03125 @ L45", "one hole, one thirty-second wider towards 10:30 (315°)"),
        ("axis_point", "4,25 over 0,5 down", "four and one-quarter over, one-half down"),
    ],
)
def test_a_plain_writing_is_read_back_in_words(kind: str, text: str, words: str) -> None:
    assert describe(kind, text, "right", "thumb", "middle").words == words


@pytest.mark.parametrize(
    ("kind", "text", "exact"),
    [
        ("written_depth", "2 3/4 collar", (("depth_in", "11/4"), ("datum", "collar"))),
        ("written_depth", "2 3/4", (("depth_in", "11/4"),)),
        ("oval", "1 x 1 1/32 @ 45", (("hole_in", "1"), ("oval_in", "1/32"), ("oval_deg", "45"))),
        ("axis_point", "4 1/4 over 1/2 down", (("over_in", "17/4"), ("up_in", "-1/2"))),
        ("layout_angle", "-30", (("degrees", "-30"),)),
        ("clock", "3:00", (("clock_deg", "90"),)),
        ("offset", "1/8 left", (("offset_in", "-1/8"),)),
        ("span", "4 1/8", (("length_in", "33/8"),)),
        ("heavy_finger", "1/2 thumb", (("ounces", "-1/2"),)),
        ("towards", "1/32 @ 6:00", (("size_in", "1/32"), ("deg", "180"))),
        ("span_pair", "middle 4, ring unknown", (("middle_in", "4"),)),
        ("pitch", "3/8 reverse, 1/8 right", (("forward_in", "-3/8"), ("right_in", "1/8"))),
    ],
)
def test_what_was_read_is_told_exactly_but_for_what_is_not_named(
    kind: str, text: str, exact: tuple[tuple[str, str], ...]
) -> None:
    assert describe(kind, text, "right", "thumb", "middle").exact == exact


def test_a_finger_that_is_pitched_forward_points_down_to_the_palm() -> None:
    # by hand: 1/4 in is 6.35 mm, 1/8 in 3.175 mm
    shown = describe("pitch", "1/4 forward, 1/8 left", "right", "ring")
    assert (not_none(shown.arrow).up_in, not_none(shown.arrow).right_in) == (-0.25, -0.125)
    assert shown.numbers == "1/4 in = 0.250 in = 6.35 mm; 1/8 in = 0.125 in = 3.17 mm"


def test_a_scale_reading_keeps_its_sign() -> None:
    # source: 28.349523125 g in an ounce, by definition of 1959
    told = describe("scale_reading", "-1/2")
    assert (told.words, told.numbers) == ("−1/2 oz", "−0.500 oz = −14.2 g")
    assert describe("heavy_right", "1/2 left").numbers == "0.500 oz = 14.2 g"


def test_ounces_are_a_fraction_up_to_64ths_and_a_decimal_beyond() -> None:
    """By division 1/65 is 0.0154."""
    assert _describe_ounces("ounces", Fraction(1, 64)).words.startswith("1/64 oz")
    assert _describe_ounces("ounces", Fraction(1, 65)).words.startswith("0.015 oz")


@pytest.mark.parametrize(
    ("kind", "text", "words", "numbers"),
    [
        ("span", "4 1/8", "four and one-eighth", "4 1/8 in = 4.125 in = 104.77 mm"),
        ("tolerance", "1/64", "one sixty-fourth", "1/64 in = 0.0156 in = 0.40 mm"),
        ("offset", "1/4 left", "one-quarter to the left", "1/4 in = 0.250 in = 6.35 mm"),
        ("offset", "1/4 right", "one-quarter to the right", "1/4 in = 0.250 in = 6.35 mm"),
        ("offset", "0", "zero", "0 in = 0.000 in = 0.00 mm"),
        ("proud", "1/64 proud", "one sixty-fourth proud", "1/64 in = 0.0156 in = 0.40 mm"),
        ("proud", "-1/64", "one sixty-fourth sunk", "-1/64 in = -0.0156 in = -0.40 mm"),
        ("proud", "0", "zero", "0 in = 0.000 in = 0.00 mm"),
        ("towards", "1/16 @ 6:00", "one-sixteenth towards 6:00 (180°)", "1/16 in = 0.0625 in = 1.59 mm"),
        ("towards", "0 @ 6:00", "zero", "0 in = 0.000 in = 0.00 mm"),
        ("written_depth", "2 3/4 crown", "two and three-quarters", "2 3/4 in = 2.750 in = 69.85 mm"),
        ("oval", "1", "one round", "1, 1 wide"),
        ("oval", "1 x 1 1/16 @ 45", "one hole, one-sixteenth wider towards 1:30 (45°)", "1, 1 1/16 wide"),
        ("span_pair", "middle 4, ring unknown", "middle four; ring unknown", "middle 4 in = 4.000 in = 101.60 mm"),
        ("span_pair", "middle ?, ring 4", "ring four; middle unknown", "ring 4 in = 4.000 in = 101.60 mm"),
        ("axis_point", "4 right over 1/2 up", "four over to the right, one-half up", ""),
        ("axis_point", "4 over 0", "four over, zero up", ""),
        ("layout_angle", "42.5", "42 1/2°", ""),
        ("clock", "3:00", "3:00 (90°)", ""),
        ("ball_ounces", "15 lb 3 oz", "15 lb 3 oz", "243.000 oz = 6888.9 g"),
        ("top_weight", "2.5", "2 1/2 oz", "2.500 oz = 70.9 g"),
        ("scale_reading", "1/2", "1/2 oz", "0.500 oz = 14.2 g"),
        ("known_mass", "100 g", "3.527 oz", "3.5274 oz = 100.0 g"),
        ("heavy_right", "1/2 left", "1/2 oz left", "0.500 oz = 14.2 g"),
        ("heavy_finger", "1/2 finger", "1/2 oz finger", "0.500 oz = 14.2 g"),
        ("heavy_top", "1/4 bottom", "1/4 oz bottom", "0.250 oz = 7.1 g"),
        ("heavy_right", "even", "even", "0.000 oz = 0.0 g"),
        ("pitch", "straight", "straight", "0 in = 0.000 in = 0.00 mm; 0 in = 0.000 in = 0.00 mm"),
    ],
)
def test_a_measure_is_read_back_in_words_and_numbers(kind: str, text: str, words: str, numbers: str) -> None:
    """By hand, with 25.4 mm in an inch and 28.349523125 g in an ounce (agreement of 1959), 16 oz in a pound."""
    shown = describe(kind, text, "right", "thumb", "middle")
    assert (shown.words, shown.numbers) == (words, numbers)


@pytest.mark.parametrize("text", ["unknown", "", "long"])
def test_what_is_no_value_has_no_words(text: str) -> None:
    shown = describe("span", text)
    assert (shown.words, shown.numbers, shown.exact, shown.arrow) == ("", "", (), None)
