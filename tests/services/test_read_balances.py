"""What a weighing tells, by its own scale and by another."""

import math
from fractions import Fraction

import pytest

from app.models import Scale
from app.services.read_balances import average, carry_reading

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
    told, u, is_carried = carry_reading(3.3, 0.05, short, None, RADIUS)
    assert told == pytest.approx(2.97)
    # the arm's 2 % of the reading, and the reading's own, add in squares (JCGM 100:2008, 5.1.6)
    assert u == pytest.approx(0.9 * math.hypot(0.05, 0.02 * 3.3))
    assert is_carried
    assert carry_reading(3.3, 0.05, short, long, RADIUS)[0] == pytest.approx(2.7)
    assert carry_reading(3.3, 0.05, short, short, RADIUS) == (3.3, 0.05, False)
    bare = Scale(id=3)
    assert carry_reading(3.3, 0.05, bare, None, RADIUS) == (3.3, 0.05, False)
    assert carry_reading(2.7, 0.05, bare, short, RADIUS)[0] == pytest.approx(3.0)
