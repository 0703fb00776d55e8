"""Which inner and bore a plan takes from its hardware, by hand."""

from fractions import Fraction

import pytest

from app.models import InsertSystem
from app.services.plans import _choose_inner, _plan_bore
from app.services.target_depths import TargetDepth
from tests.conftest import not_none

LOCK = InsertSystem(inner_ods=["5/4", "9/8", "1"], inner_length_in=Fraction(15, 8), bore_in=None)


@pytest.mark.parametrize(
    ("hole", "oval", "chosen"),
    [
        (Fraction(15, 16), Fraction(1, 16), 1.125),  # 15/16 + 1/16 + two walls of 1/16 are 1 1/8
        (Fraction(61, 64), Fraction(1, 16), 1.25),  # 1/64 more takes the next
        (Fraction(7, 8), None, 1.0),
        (None, None, 1.0),
        (Fraction(5, 4), Fraction(1, 8), 1.25),  # none is wide enough: the widest
    ],
)
def test_the_smallest_inner_that_leaves_both_walls_is_chosen(
    hole: Fraction | None, oval: Fraction | None, chosen: float
) -> None:
    inner = not_none(_choose_inner(LOCK, None, hole, oval, Fraction(1, 16)))
    assert (inner.outside_in, inner.length_in) == (chosen, 1.875)


def test_the_inner_asked_for_is_taken() -> None:
    assert not_none(_choose_inner(LOCK, Fraction(5, 4), Fraction(7, 8), None, Fraction(1, 16))).outside_in == 1.25
    assert _choose_inner(None, None, Fraction(7, 8), None, Fraction(1, 16)) is None


def test_hardware_without_a_bore_is_bored_1_1_2_wide() -> None:
    # common practice, no source
    bore = _plan_bore(LOCK, TargetDepth(2.75, 0.01, "our collar", False), (-0.25, 0.125))
    assert (bore.bore_in, bore.depth_in, bore.depth_half_width_in) == (1.5, 2.75, 0.01)
    assert (bore.forward_in, bore.right_in) == (-0.25, 0.125)
