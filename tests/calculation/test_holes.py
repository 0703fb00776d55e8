"""The rim of a hole, by hand where the hole is straight, and by the calculus of its own curve where it is pitched."""

import math
from dataclasses import replace

import numpy as np
import pytest

from app.calculation.holes import (
    FINGER,
    THUMB,
    Axis,
    edge_angle,
    meeting_depth_in,
    pitched_axis,
    rim_points,
    shift_axis,
)
from app.calculation.sphere import place
from tests.calculation.reference import ReferenceHole, Sphere

RADIUS = 13.5 / math.pi


def axis_of(forward_in: float = 0.0, right_in: float = 0.0, kind: int = THUMB) -> Axis:
    return pitched_axis(place(0.0, 0.0, RADIUS), forward_in, right_in, kind, RADIUS)


@pytest.mark.parametrize("oval_in", [0.0, 0.25])
def test_the_rim_runs_round_both_ends_of_an_oval(oval_in: float) -> None:
    # by hand: the quarters of two half circles, anticlockwise from the right, lifted on to the sphere
    r, half = 0.5, oval_in / 2
    flat = [(r, half), (0, half + r), (-r, half), (-r, -half), (0, -half - r), (r, -half)]
    rim = rim_points(axis_of(), 2 * r, oval_in, 0.0, steps=4)
    lifted = [(x, y, math.sqrt(RADIUS**2 - x * x - y * y)) for x, y in flat]
    assert np.array([p.at for p in rim]) == pytest.approx(np.array(lifted), abs=1e-12)
    assert [p.arc_before for p in rim] == pytest.approx([0, math.pi / 2, math.pi / 2] * 2)
    assert [p.arc_after for p in rim] == pytest.approx([math.pi / 2, math.pi / 2, 0] * 2)


@pytest.mark.parametrize(("forward", "right", "kind"), [(-0.375, 0.25, THUMB), (0.125, -0.5, FINGER)])
@pytest.mark.parametrize(("oval_in", "oval_deg"), [(0.0, 0.0), (0.125, 40.0)])
def test_the_tangents_of_a_rim_lead_from_point_to_point(
    forward: float, right: float, kind: int, oval_in: float, oval_deg: float
) -> None:
    # source: the trapezium rule, whose error is a twelfth of the step cubed times the curve's third derivative
    rim = rim_points(axis_of(forward, right, kind), 0.9375, oval_in, oval_deg, steps=720)
    assert math.fsum(p.arc_after for p in rim) == pytest.approx(2 * math.pi)
    for one, other in zip(rim, [*rim[1:], rim[0]], strict=True):
        assert one.arc_after == other.arc_before
        step = (np.array(one.after) + np.array(other.before)) / 2 * (one.arc_after or 1.0)
        assert np.array(one.at) + step == pytest.approx(np.array(other.at), abs=1e-7 if one.arc_after else 1e-5)


def test_a_hole_that_has_ended_is_met_by_a_deeper_one() -> None:
    # by hand: 0.9 in down, from the side, a hole comes within 1/2 of an axis that it meets squarely and that ends at 1 in
    upright = axis_of()
    level = RADIUS - 0.9
    away = math.sqrt(RADIUS**2 - level**2)
    aside = replace(upright, centre=(away / RADIUS, 0.0, level / RADIUS), inwards=(-1.0, 0.0, 0.0))
    assert meeting_depth_in(upright, 1.0, aside, 3.0, 0.5) == pytest.approx(away - 0.5, abs=1e-12)
    assert meeting_depth_in(aside, 3.0, upright, 1.0, 0.5) == pytest.approx(away - 0.5, abs=1e-12)


@pytest.mark.parametrize("oval_deg", [0.0, 5.0, 40.0, 85.0, 90.0, 135.0])
@pytest.mark.parametrize("pitch", [(-0.25, 0.0), (0.375, -0.5), (-0.625, 0.375)])
def test_the_edge_of_an_oval_is_where_it_is_half_a_bit_from_the_swept_axis(
    oval_deg: float, pitch: tuple[float, float]
) -> None:
    # outside source: scipy's root finding on that distance, along pyproj's geodesic
    hole = ReferenceHole(Sphere(27.0), (0.0, 0.0), *pitch, True)
    for bit_in, oval_in in ((0.9375, 0.03125), (0.9375, 0.25), (0.5, 1.0)):
        found = edge_angle(axis_of(*pitch), axis_of().long, bit_in, oval_in, oval_deg)
        assert found * RADIUS == pytest.approx(hole.edge(90.0, bit_in, oval_in, oval_deg), abs=1e-9)


@pytest.mark.parametrize("pitch", [(0.0, 0.0), (0.375, -0.5), (-0.625, 0.375)])
@pytest.mark.parametrize(("offset_in", "clock"), [(0.03125, 45.0), (0.5, 120.0), (-0.75, 200.0)])
def test_a_shifted_axis_is_parallel_as_far_off_as_asked_and_begins_on_the_ball(
    pitch: tuple[float, float], offset_in: float, clock: float
) -> None:
    # by hand, with numpy: the clock direction projected square to the axis; of two places on the ball the nearer one
    axis = axis_of(*pitch)
    moved = shift_axis(axis, offset_in, clock)
    turn, inwards = math.radians(clock), np.array(axis.inwards)
    way = math.cos(turn) * np.array(axis.long) + math.sin(turn) * np.array(axis.right)
    way = way - (way @ inwards) * inwards
    apart = RADIUS * (np.array(moved.centre) - np.array(axis.centre))
    square = apart - (apart @ inwards) * inwards
    assert np.linalg.norm(moved.centre) == pytest.approx(1.0, abs=1e-12)
    assert moved.inwards == axis.inwards
    assert square == pytest.approx(offset_in * way / np.linalg.norm(way), abs=1e-9)
    assert np.linalg.norm(apart) < 2 * abs(offset_in)


@pytest.mark.parametrize(
    ("pitch", "bit_in", "oval_in", "oval_deg", "direction"),
    [
        ((-0.5, -0.375), 0.75, 0.0625, 0.0, math.pi / 2),
        ((0.25845, 0.18509), 0.2072, 0.60318, 201.2435, 3.875546),
        ((0.09608, -0.48856), 0.32478, 0.45061, 109.7601, 5.141368),
        ((-0.64235, -0.80269), 0.21238, 0.71459, 30.9779, 3.408498),
        ((0.0, 0.0), 0.375, 0.5, 0.0, 0.0),
    ],
)
def test_the_edge_is_found_where_a_less_careful_search_runs_away(
    pitch: tuple[float, float], bit_in: float, oval_in: float, oval_deg: float, direction: float
) -> None:
    """Outside source: scipy's root finding, as above; on each, a wrong slope or start of the search finds no edge."""
    hole = ReferenceHole(Sphere(27.0), (0.0, 0.0), *pitch, True)
    towards = (math.sin(direction), math.cos(direction), 0.0)
    found = edge_angle(axis_of(*pitch), towards, bit_in, oval_in, oval_deg) * RADIUS
    assert found == pytest.approx(hole.edge(90.0 - math.degrees(direction), bit_in, oval_in, oval_deg), abs=1e-9)
