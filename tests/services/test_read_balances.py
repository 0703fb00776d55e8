"""What a weighing tells, by its own scale and by another."""

import math
from fractions import Fraction

import pytest

from app.models import Scale
from app.services.read_balances import ReadBalance, average, carry_each, find_arm_share, is_by_two_arms
from tests.conftest import not_none

RADIUS = 13.5 / math.pi


def test_two_readings_are_averaged_halve_the_variance_and_cancel_the_zero() -> None:
    # source: JCGM 100:2008, 4.2.3 (mean of n), 4.3.7 (a division read to its nearest step), 5.1.6 (arm)
    scale = Scale(resolution_oz=Fraction(1, 8), arm_in=Fraction(4), arm_u_in=Fraction(1, 10))
    own = math.hypot(0.125 / math.sqrt(12), 1 / 16)
    found = average([(Fraction(1), None), (None, None), (Fraction(1), Fraction(2))], None, scale)
    assert found.ways == (1.0, None, 1.5)
    assert (found.each_u_oz[0], found.each_u_oz[2]) == pytest.approx((math.hypot(own, 1 / 8), own / math.sqrt(2)))
    assert found.u_oz == found.each_u_oz[0]
    assert found.is_once == (True, False, False)
    assert found.half_widths_oz[2] == pytest.approx(1.959964 * math.hypot(own / math.sqrt(2), 1.5 / 40), rel=1e-6)


@pytest.mark.parametrize("scale", [None, Scale(), Scale(arm_in=Fraction(4)), Scale(arm_u_in=Fraction(1, 10))])
def test_an_arm_of_unknown_doubt_has_the_usual_one(scale: Scale | None) -> None:
    assert average([(Fraction(1), None)] * 3, None, scale).arm_share == 0.05


def test_a_reading_on_an_arm_ten_percent_short_is_corrected_for_another_scale() -> None:
    # by hand: 3.3 oz on an arm of 0.9 R is a moment of 2.97 R, 2.97 oz on an arm of R and 2.7 on one of 1.1 R
    short = Scale(id=1, arm_in=Fraction(0.9 * RADIUS), arm_u_in=Fraction(0.018 * RADIUS))
    long = Scale(id=2, arm_in=Fraction(1.1 * RADIUS), arm_u_in=Fraction(0.1))
    once = ReadBalance((3.3, None, -1.0), (0.05, 0.05, 0.05), None)

    def carry(read_on: Scale, told_on: Scale | None) -> list[tuple[float, float] | None]:
        return carry_each(once, read_on, told_on, RADIUS)

    right, unread, top = carry(short, None)
    assert right == pytest.approx((2.97, 0.9 * 0.05))
    assert unread is None
    assert top == pytest.approx((-0.9, 0.9 * 0.05))
    assert [find_arm_share(short, of) for of in (None, long, short)] == pytest.approx([0.02, 0.02, 0.0])
    assert find_arm_share(Scale(id=4), long) == 0.0
    assert not_none(carry(short, long)[0])[0] == pytest.approx(2.7)
    assert carry(short, short)[0] == (3.3, 0.05)
    bare = Scale(id=3)
    assert carry(bare, None)[0] == (3.3, 0.05)
    assert not_none(carry(bare, short)[0])[0] == pytest.approx(3.3 / 0.9)
    assert [is_by_two_arms(*pair) for pair in ((short, None), (short, short), (bare, None), (bare, long))] == [
        True, False, False, True
    ]  # fmt: skip
