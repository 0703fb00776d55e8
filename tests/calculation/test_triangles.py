"""Triangles on a sphere against a published example and pyproj's geodesics on a sphere."""

import math

import numpy as np
import pytest
from pyproj import Geod

from app.calculation.triangles import angle_opposite, arc_to

GLOBE = Geod(a=1.0, b=1.0)


def test_a_published_right_triangle_has_its_third_side_and_its_angles() -> None:
    # a review for engineers' examinations: a = 73°, b = 62°, C = 90° give c = 82.11°, A = 74.89°, B = 63.05°
    a, b, c = (math.radians(side) for side in (73, 62, 82.11))
    assert math.degrees(arc_to(a, b, math.pi / 2)) == pytest.approx(82.11, abs=0.01)
    angles = [angle_opposite(a, b, c), angle_opposite(b, a, c), angle_opposite(c, a, b)]
    assert [math.degrees(angle) for angle in angles] == pytest.approx([74.89, 63.05, 90.0], abs=0.02)


def test_the_third_side_is_the_geodesic_between_the_ends_of_the_other_two() -> None:
    chance = np.random.default_rng(3)
    for a, b, between in chance.uniform([0.1, 0.1, 0.1], [1.5, 1.5, 3.0], (50, 3)):
        ends = [GLOBE.fwd(0.0, 0.0, math.degrees(turn), side)[:2] for turn, side in ((0.0, a), (between, b))]
        assert arc_to(a, b, between) == pytest.approx(GLOBE.inv(*ends[0], *ends[1])[2], abs=1e-9)


def test_a_triangle_that_folds_flat_has_a_third_side_in_spite_of_rounding() -> None:
    # by hand: two equal sides on one another leave nothing between, and opposite ways half a circle on
    for side in np.linspace(0.01, 1.5, 5000):
        assert arc_to(side, side, 0.0) < 1e-7
        assert math.pi - arc_to(side, math.pi - side, math.pi) < 1e-7
