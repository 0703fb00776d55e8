"""Arcs, frames and rotations against published triangles, pyproj geodesics and scipy rotations."""

import json
import math
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pyproj import Geod
from scipy.spatial.transform import Rotation

from app.calculation.sphere import (
    Vector,
    along_across_in,
    arc_angle,
    carry,
    cross,
    dot,
    frame,
    heading,
    place,
    travel,
    unit,
)
from app.calculation.units import millimetres, pitch_deg, radius_in, sixty_fourths

CASES = {c["name"]: c for c in json.loads((Path(__file__).parent / "published_cases.json").read_text())["cases"]}
ARC_IN = 1e-9
R27 = radius_in(27.0)

lengths = st.floats(-5.0, 5.0, allow_nan=False)


@settings(max_examples=200)
@given(lengths, lengths, lengths, lengths)
def test_arcs_and_bearings_agree_with_geodesics(
    along_a: float, across_a: float, along_b: float, across_b: float
) -> None:
    # outside source: pyproj.Geod(a=R, b=R); the centre line is the equator, so along is longitude
    a, b = place(along_a, across_a, R27), place(along_b, across_b, R27)
    geod = Geod(a=R27, b=R27)
    degrees = [math.degrees(x / R27) for x in (along_a, across_a, along_b, across_b)]
    azimuth, _, distance = geod.inv(degrees[0], degrees[1], degrees[2], degrees[3])
    assert R27 * arc_angle(a, b) == pytest.approx(distance, abs=ARC_IN)
    if distance > 1e-3 and abs(degrees[1]) < 89:
        long, right = frame(a)
        tangent = heading(a, b)
        # azimuth runs from +across ("north") towards +along ("east")
        ours = math.degrees(math.atan2(dot(tangent, _east(a)), dot(tangent, _north(a))))
        assert math.cos(math.radians(ours - azimuth)) == pytest.approx(1.0, abs=1e-9)
        assert dot(long, right) == pytest.approx(0.0, abs=1e-12)
        reached = travel(a, tangent, distance / R27)
        assert reached == pytest.approx(b, abs=1e-9)


def _north(a: Vector) -> Vector:
    return unit((1 - a[0] * a[0], -a[0] * a[1], -a[0] * a[2]))


def _east(a: Vector) -> Vector:
    return cross(a, _north(a))


def _between(a: Vector, b: Vector, turn: float) -> Vector:
    """The first direction turned towards the second, which is square to it."""
    x, y, z = (math.cos(turn) * p + math.sin(turn) * q for p, q in zip(a, b, strict=True))
    return x, y, z


@given(lengths, lengths)
def test_a_place_reads_back(along: float, across: float) -> None:
    assert along_across_in(place(along, across, R27), R27) == pytest.approx((along, across), abs=1e-9)


def test_the_published_triangle_on_a_27_in_ball() -> None:
    case = CASES["spherical triangle on a 27 in ball"]  # source: see the file
    # side c = 6.75 in between two 45 degree angles: walk both other sides until they meet
    a, b = place(0.0, 0.0, R27), place(case["data"]["side_in"], 0.0, R27)
    to_b, to_a = heading(a, b), heading(b, a)
    turn = math.radians(45)
    from_a, from_b = _between(to_b, cross(a, to_b), turn), _between(to_a, cross(b, to_a), -turn)
    meet = unit(cross(cross(a, from_a), cross(b, from_b)))
    sides = [math.degrees(arc_angle(p, meet)) for p in (a, b)]
    angle = math.degrees(math.acos(dot(heading(meet, a), heading(meet, b))))
    assert angle == pytest.approx(case["expected"]["third_angle_deg"], abs=1e-9)
    assert sides == pytest.approx([case["expected"]["other_sides_deg"]] * 2, abs=5e-5)
    assert R27 * math.radians(sides[0]) == pytest.approx(case["expected"]["other_sides_in"], abs=5e-4)


def test_the_published_right_triangle() -> None:
    case = CASES["right spherical triangle"]  # source: see the file
    a, b = (math.radians(case["data"][n]) for n in ("a_deg", "b_deg"))
    c = (0.0, 0.0, 1.0)
    corner_b, corner_a = travel(c, (1.0, 0.0, 0.0), a), travel(c, (0.0, 1.0, 0.0), b)
    assert math.degrees(arc_angle(corner_a, corner_b)) == pytest.approx(case["expected"]["c_deg"], abs=0.011)
    for corner, others, name in ((corner_a, (c, corner_b), "A_deg"), (corner_b, (c, corner_a), "B_deg")):
        angle = math.degrees(math.acos(dot(heading(corner, others[0]), heading(corner, others[1]))))
        assert angle == pytest.approx(case["expected"][name], abs=0.011)


def test_the_published_great_circle() -> None:
    case = CASES["great circle"]  # source: see the file
    (lat_a, lon_a), (lat_b, lon_b), radius = case["data"]["from"], case["data"]["to"], case["data"]["radius"]
    a = place(math.radians(lon_a) * radius, math.radians(lat_a) * radius, radius)
    b = place(math.radians(lon_b) * radius, math.radians(lat_b) * radius, radius)
    assert radius * arc_angle(a, b) == pytest.approx(case["expected"]["distance"], abs=1e-8)


def test_ball_sizes_of_the_rules() -> None:
    expected = CASES["ball size"]["expected"]  # source: see the file
    assert 2 * radius_in(expected["diameter_8.500_circumference"]) == pytest.approx(8.5, abs=5e-4)
    assert 2 * radius_in(expected["diameter_8.595_circumference"]) == pytest.approx(8.595, abs=5e-4)


@pytest.mark.parametrize(("inches", "mm"), [(5 / 8, 15.9), (1.25, 31.8), (0.25, 6.4), (0.125, 3.2)])
def test_metric_equivalents_of_the_rules(inches: float, mm: float) -> None:
    # source: rule texts of the sport's governing bodies, which print both
    assert millimetres(inches) == pytest.approx(mm, abs=0.05 + 1e-9)


@pytest.mark.parametrize(
    ("pitch", "degrees"),
    [(1 / 16, 0.833), (1 / 8, 1.667), (3 / 16, 2.501), (1 / 4, 3.335), (3 / 8, 5.006), (1 / 2, 6.682), (3 / 4, 10.052)],
)
def test_pitch_in_degrees(pitch: float, degrees: float) -> None:
    # trade table of asin(p / R) on a 27 in ball: derived, not an outside check; it pins the convention
    assert pitch_deg(pitch, 27.0) == pytest.approx(degrees, abs=6e-4)


@given(st.floats(0.01, 3.0), st.floats(0, 6.28), st.floats(0, 6.28))
def test_carrying_is_the_least_rotation(angle: float, turn: float, phase: float) -> None:
    # outside source: scipy.spatial.transform.Rotation about the normal of the two directions
    start = (0.0, 0.0, -1.0)
    end = (math.sin(angle) * math.cos(turn), math.sin(angle) * math.sin(turn), -math.cos(angle))
    v = (math.cos(phase), math.sin(phase), 0.3)
    normal = unit(cross(start, end))
    expected = Rotation.from_rotvec([angle * n for n in normal]).apply(v)
    assert carry(v, start, end) == pytest.approx(tuple(expected), abs=1e-9)


def test_a_length_in_64ths_keeps_its_sign() -> None:
    assert sixty_fourths(-3 / 64) == -3.0
    assert sixty_fourths(1.5) == 96.0
