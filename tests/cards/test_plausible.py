"""What cannot be of a bore is found; the ranges are those that `templates/help/card.md` says."""

from dataclasses import replace
from fractions import Fraction

import pytest

from app.cards.plausible import hold_bore, is_plausible, list_implausible
from tests.cards.made import BORE, DEPTH, make_card

F = Fraction


@pytest.mark.parametrize(
    ("name", "value", "expected"),
    [
        ("mean_in", F(0), False),
        ("mean_in", F(1, 10), True),
        ("mean_in", F(6), True),
        ("mean_in", F(8), False),
        ("u_in", F(0), True),
        ("u_in", F(1, 4), True),
        ("u_in", F(8), False),
        ("scatter_in", F(0), True),
        ("scatter_in", F(8), False),
    ],
)
def test_a_stated_depth_is_one_of_bores(name: str, value: Fraction, expected: bool) -> None:
    said = replace(DEPTH, **{name: value})  # type: ignore[arg-type]
    assert is_plausible(said) is expected
    told = list_implausible(make_card(depths=(said,)))
    assert told == ([] if expected else ["what Harbour Lane says of its depths for hardware 1"])


@pytest.mark.parametrize(
    ("depth", "doubt", "expected"),
    [
        (F(0), F(1, 250), None),
        (F(8), F(1, 250), None),
        (F(11, 4), F(8), None),
        (F(11, 4), F(0), F(11, 4)),
        (F(11, 4), None, F(11, 4)),
    ],
)
def test_a_bore_keeps_a_depth_that_bores_have(
    depth: Fraction, doubt: Fraction | None, expected: Fraction | None
) -> None:
    said = replace(BORE, depth_in=depth, depth_u_in=doubt)
    held = hold_bore(said)
    assert (held.depth_in, held.depth_u_in) == (expected, None if expected is None else doubt)
    told = list_implausible(make_card(bores=(said, BORE)))
    assert told == ([] if expected else ["the depth of the bore of inner dry days"])
