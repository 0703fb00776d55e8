"""What a weighing tells, by its own scale and by another."""

import math
from fractions import Fraction

import pytest

from app.models import Scale
from app.services.read_balances import ReadBalance, average, carry_each, find_arm_share, is_by_two_arms
from tests.conftest import not_none

RADIUS = 13.5 / math.pi


def test_two_readings_are_averaged_and_halve_the_variance() -> None:
    # source: JCGM 100:2008, 4.2.3 (mean of n) and 4.3.7 (a division read to its nearest step)
    once = average([(Fraction(1), None), (None, None), (None, None)], None, 0.125)
    twice = average([(Fraction(1), Fraction(2)), (None, None), (None, None)], None, 0.125)
    assert once.ways == (1.0, None, None)
    assert twice.ways == (1.5, None, None)
    assert once.u_oz == pytest.approx(math.hypot(0.125 / math.sqrt(12), 1 / 16))
    assert once.u_oz / twice.u_oz == pytest.approx(math.sqrt(2))


def test_a_reading_on_an_arm_ten_percent_short_is_corrected_for_another_scale() -> None:
    # by hand: 3.3 oz on an arm of 0.9 R is a moment of 2.97 R, 2.97 oz on an arm of R and 2.7 on one of 1.1 R
    short = Scale(id=1, arm_in=Fraction(0.9 * RADIUS), arm_u_in=Fraction(0.018 * RADIUS))
    long = Scale(id=2, arm_in=Fraction(1.1 * RADIUS), arm_u_in=Fraction(0.1))
    once = ReadBalance((3.3, None, -1.0), 0.05, None)

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
