"""Words of a balance, by value."""

import pytest

from app.measures.balance_words import (
    Way,
    direction_words,
    interval_words,
    name_side,
    pound_words,
    side_words,
    signed_words,
    spare_words,
    to_hundredth,
)


@pytest.mark.parametrize(
    ("value", "way", "words"),
    [
        (0.267991, "finger", "0.27 oz finger side"),
        (-0.267991, "finger", "0.27 oz thumb side"),
        (0.003336, "right", "even"),
        (-0.006, "right", "0.01 oz left"),
        (1.817821, "top", "1.82 oz top"),
        (-3.0, "top", "3.00 oz bottom"),
        (-0.26, "axis", "0.26 oz away"),
        (0.26, "axis", "0.26 oz towards"),
    ],
)
def test_the_heavier_side_is_named(value: float, way: Way, words: str) -> None:
    assert side_words(value, way) == words
    assert (name_side(value, way) == "") == (words == "even")


@pytest.mark.parametrize(
    ("ends", "words"),
    [
        ((-0.0708, 0.6068), "0.07 oz thumb side to 0.61 oz finger side"),
        ((0.9111, 2.7246), "0.91 to 2.72 oz finger side"),
        ((-2.7246, -0.9111), "0.91 to 2.72 oz thumb side"),
        ((0.001, 0.5), "0.00 to 0.50 oz finger side"),
        ((-0.001, 0.001), "even to even"),
    ],
)
def test_an_interval_names_a_side_once(ends: tuple[float, float], words: str) -> None:
    assert interval_words(ends, "finger") == words


@pytest.mark.parametrize(
    ("ounces", "words"),
    [(238.041275, "14 lb 14.0 oz"), (240, "15 lb 0.0 oz"), (239.96, "15 lb 0.0 oz"), (160.5, "10 lb 0.5 oz")],
)
def test_a_weight_is_told_in_pounds_and_ounces(ounces: float, words: str) -> None:
    assert pound_words(ounces) == words


@pytest.mark.parametrize(("value", "words"), [(0.061, "+0.06"), (-0.75, "−0.75"), (-0.004, "0.00"), (0.0, "0.00")])
def test_a_sign_says_which_side_and_nothing_has_none(value: float, words: str) -> None:
    assert signed_words(value) == words


def test_directions_are_named_as_their_two_halves() -> None:
    assert direction_words(["right_left", "top_bottom"]) == "right or left; top or bottom"


@pytest.mark.parametrize(
    ("value", "limit", "words"),
    [
        (0.2651, 3.0, "2.73 oz to spare"),  # 0.27 is shown, and 3 less 0.27
        (2.9951, 3.0, "0.00 oz to spare"),
        (3.5049, 3.0, "0.50 oz too much"),
        (0.754, 0.75, "less than 0.01 oz too much"),
    ],
)
def test_what_is_left_of_a_limit_adds_up_with_the_value_shown(value: float, limit: float, words: str) -> None:
    assert spare_words(limit - value, limit) == words


def test_a_small_negative_weight_is_shown_without_a_sign() -> None:
    assert str(to_hundredth(-0.004)) == "0.0"
    assert to_hundredth(-0.006) == -0.01
