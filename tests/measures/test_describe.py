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
