"""Ounces against the exact pound, and the question that each bare reading of a scale asks."""

from fractions import Fraction

from app.measures.ounces import GRAMS_PER_OUNCE, OUNCES_PER_POUND, read_ball_ounces, read_imbalance, read_ounces
from app.measures.reading import TOP_WEIGHT


def test_an_ounce_is_a_sixteenth_of_the_exact_pound() -> None:
    """International yard and pound agreement of 1959: 1 lb = 0.45359237 kg exactly."""
    assert Fraction("453.59237") == GRAMS_PER_OUNCE * OUNCES_PER_POUND


def test_the_published_pair_of_3_ounces_and_85_grams() -> None:
    """Rule texts of the sport's governing bodies print 3 oz as 85 g, to the gram."""
    assert round(read_ounces("3", TOP_WEIGHT).given * GRAMS_PER_OUNCE) == 85


def test_a_bare_reading_of_a_scale_asks_for_its_side() -> None:
    assert read_imbalance("3/8", "finger").choices == ("3/8 finger", "3/8 thumb")
    assert read_imbalance("-3/8", "top").choices == ("3/8 top", "3/8 bottom")


def test_what_was_typed_is_kept() -> None:
    assert read_ball_ounces("15 lb 3 oz").text == "15 lb 3 oz"
    assert read_ball_ounces("243 OZ").text == "243 OZ"


def test_a_ball_of_6_to_16_pounds_is_read_and_none_an_ounce_beyond() -> None:
    # by hand: 6 lb are 96 oz and 16 lb are 256 oz; both are within
    assert [read_ball_ounces(f"{ounces} oz").value for ounces in (95, 96, 256, 257)] == [None, 96, 256, None]
