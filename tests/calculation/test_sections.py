import math
import re

import numpy as np
import pytest
from hypothesis import given, settings
from manifold3d import CrossSection, FillRule, Manifold

from app.calculation.errors import CannotBuildError
from app.calculation.grip_solver import solve_grip
from app.calculation.holes import THUMB, Axis, pitched_axis, tilt_between
from app.calculation.sections import _surface_between, bore_section, depth_window, plane_through
from app.calculation.sphere import place
from app.pages.pictures import draw_grip
from app.schemas.calc_grips import GripIn
from tests.calculation.grips import EXAMPLE, Json, bodies
from tests.conftest import not_none

CURVE_IN = 1e-6
AREA_IN2 = 0.004  # 512-sided solids of about 3 in², and a chord drawn in 24 steps
SVG_DIGITS_IN = 2e-7


def bezier(p: np.ndarray, t: np.ndarray) -> np.ndarray:
    t = t[:, None]
    return np.asarray((1 - t) ** 3 * p[0] + 3 * (1 - t) ** 2 * t * p[1] + 3 * (1 - t) * t**2 * p[2] + t**3 * p[3])


@settings(max_examples=25, deadline=None)
@given(bodies(edges=("cut",)))
def test_drawn_holes_are_the_curves_that_cylinders_cut_in_the_ball(body: Json) -> None:
    # the SVG path itself, sampled, lifted back on to the sphere and measured against the cylinder, numpy
    try:
        solved = solve_grip(GripIn.model_validate(body).to_grip())
    except CannotBuildError:
        return
    thumb = body["thumb"]
    wanted = {
        "sleeve": (not_none(solved.sleeve), body["sleeve_od_in"], 0.0, 0.0),
        "thumb hole": (solved.holes["thumb"], thumb["hole_in"], thumb["oval_in"], thumb["oval_deg"]),
        "middle as bored": (solved.holes["middle"], body["middle"]["cut_in"], 0.0, 0.0),
    }
    for shape in draw_grip(solved).shapes:
        match = next((v for k, v in wanted.items() if shape.words.startswith(("outer " + k, k))), None)
        if match is None:
            continue
        axis, diameter, oval, turn = match
        numbers = np.array([float(x) for x in re.findall(r"-?\d+\.\d+", shape.path)]).reshape(-1, 2)
        pieces = [np.vstack([numbers[3 * i : 3 * i + 4]]) for i in range((len(numbers) - 1) // 3)]
        assert len(pieces) >= 36
        for piece in pieces:
            for x, y in bezier(piece, np.linspace(0, 1, 9)):
                point = np.array([x, -y, math.sqrt(axis.radius_in**2 - x * x - y * y)])
                assert distance(axis, point, oval, turn) == pytest.approx(diameter / 2, abs=CURVE_IN)


def distance(axis: Axis, point: np.ndarray, oval: float, turn: float) -> float:
    d, long, right = (np.array(v) for v in (axis.inwards, axis.long, axis.right))
    w = math.cos(math.radians(turn)) * long + math.sin(math.radians(turn)) * right
    w -= (w @ d) * d
    w /= np.linalg.norm(w)
    off = point - np.array(axis.point(0.0))
    off -= (off @ d) * d
    return float(np.linalg.norm(off - np.clip(off @ w, -oval / 2, oval / 2) * w))


def solid(axis: Axis, diameter: float, depth: float) -> Manifold:
    """The bored-out solid: a cylinder from above the surface down to its depth, kept inside the ball."""
    z = np.array(axis.inwards)
    x = np.cross([0.3, 0.5, -0.8], z)
    x /= np.linalg.norm(x)
    start = np.array(axis.point(-1.0))
    made = Manifold.cylinder(depth + 1.0, diameter / 2, circular_segments=512)
    ball = Manifold.sphere(axis.radius_in, circular_segments=512)
    return made.transform(np.column_stack([x, np.cross(z, x), z, start])) ^ ball


@settings(max_examples=12, deadline=None)
@given(bodies(edges=("cut",)))
def test_a_section_is_what_a_solid_shows_when_it_is_sawn(body: Json) -> None:
    # outside source: manifold3d, the bore as a solid, turned into the plane and sliced there
    try:
        solved = solve_grip(GripIn.model_validate(body).to_grip())
    except CannotBuildError:
        return
    plane = plane_through(solved.holes["thumb"].centre, solved.fingers["middle"].centre)
    turn = np.array([plane.along, plane.up, plane.normal])
    for axis, diameter, depth in (
        (not_none(solved.sleeve), body["sleeve_od_in"], 2.75),
        (solved.holes["middle"], body["middle"]["cut_in"], 1.0),
    ):
        section = bore_section(plane, axis, diameter, 0.0, depth)
        sliced = solid(axis, diameter, depth).transform(np.column_stack([turn, [0, 0, 0]])).slice(0.0)
        drawn = CrossSection([list(section.outline)], FillRule.NonZero) if section else None
        assert drawn is not None
        assert abs(drawn.area()) == pytest.approx(sliced.area(), abs=AREA_IN2)
        assert abs((drawn ^ sliced).area()) == pytest.approx(sliced.area(), abs=AREA_IN2)


def test_the_thumb_is_on_the_left_of_a_section() -> None:
    solved = solve_grip(GripIn.model_validate(EXAMPLE).to_grip())
    plane = plane_through(solved.holes["thumb"].centre, solved.fingers["middle"].centre)
    assert plane.point(solved.holes["thumb"].centre)[0] < 0 < plane.point(solved.fingers["middle"].centre)[0]


def test_a_section_without_pitch_is_as_wide_as_the_bore() -> None:
    body = {**EXAMPLE, "thumb": {**EXAMPLE["thumb"], "forward_in": 0.0}}
    solved = solve_grip(GripIn.model_validate(body).to_grip())
    plane = plane_through(solved.holes["thumb"].centre, solved.fingers["middle"].centre)
    outline = np.array(not_none(bore_section(plane, not_none(solved.sleeve), 1.5, 0.0, 2.75)).outline)
    floor = outline[24:26]  # the last point of the first side and the first of the second
    assert np.linalg.norm(floor[0] - floor[1]) == pytest.approx(1.5, abs=1e-9)


@pytest.mark.parametrize(
    ("point_deg", "point"),
    [(118, 0.4507), (135, 0.3107), (180, 0.0)],  # r / tan(angle / 2) of a 1-1/2 in bit; 118°: 0.451 in the trade's note
)
def test_the_point_of_a_drill(point_deg: int, point: float) -> None:
    assert depth_window(2.0, 3.0, 1.5, point_deg).point_in == pytest.approx(point, abs=6e-5)


def test_a_depth_window_closes_when_the_point_reaches_the_lock() -> None:
    assert depth_window(1.875, 2.375, 15 / 16, 118).is_open
    assert not depth_window(2.125, 2.375, 15 / 16, 118).is_open
    assert depth_window(2.125, 2.375, 15 / 16, 180).is_open
    assert depth_window(2.125, 2.375, 15 / 16, 180).point_in == 0.0  # and not what rounding leaves of a tangent


@pytest.mark.parametrize("clock_deg", [0, 40, 90])
@pytest.mark.parametrize("point_in", [0.0, 0.28])
def test_a_section_shows_the_oval_and_the_point_of_the_drill(clock_deg: int, point_in: float) -> None:
    # outside source: manifold3d, the swept and pointed solid sawn in the plane
    radius = 13.5 / math.pi
    axis = pitched_axis(place(-2.5, 0.0, radius), -0.3, 0.2, THUMB, radius)
    plane = plane_through(axis.centre, place(2.4, 0.6, radius))
    down, along = np.array(axis.inwards), np.array(axis.across(clock_deg))
    made = Manifold.cylinder(3.0, 0.5, circular_segments=512)
    if point_in:
        made += Manifold.cylinder(point_in, 0.5, 0.0, circular_segments=512).translate([0, 0, 3.0])
    swept = Manifold.batch_hull([made.translate([x, 0, 0]) for x in (-0.15, 0.15)])
    frame = np.column_stack([along, np.cross(down, along), down, np.array(axis.point(-1.0))])
    inside = swept.transform(frame) ^ Manifold.sphere(radius, circular_segments=512)
    turn = np.array([plane.along, plane.up, plane.normal])
    sliced = inside.transform(np.column_stack([turn, [0, 0, 0]])).slice(0.0)
    section = not_none(bore_section(plane, axis, 1.0, 0.0, 2.0, 0.3, clock_deg, point_in))
    drawn = CrossSection([list(section.outline)], FillRule.NonZero)
    if not point_in:  # the point of a sweep is a ridge, which one disc at a depth only draws from within
        assert abs(drawn.area()) == pytest.approx(sliced.area(), abs=AREA_IN2)
    assert abs((drawn ^ sliced).area()) == pytest.approx(abs(drawn.area()), abs=AREA_IN2)
    assert abs(drawn.area()) == pytest.approx(sliced.area(), abs=0.05)


@pytest.mark.parametrize("point_in", [0.0, 0.3])
def test_the_outline_of_a_straight_bore_is_known_at_every_corner(point_in: float) -> None:
    # by hand: no pitch, sawn through its axis; mouth at √(R² − r²), floor at R − depth, tip at R − depth − point
    radius = 13.5 / math.pi
    axis = pitched_axis(place(0.0, 0.0, radius), 0.0, 0.0, THUMB, radius)
    plane = plane_through(place(-2.0, 0.0, radius), place(2.0, 0.0, radius))
    outline = np.array(not_none(bore_section(plane, axis, 1.0, 0.0, 2.0, point_in=point_in)).outline)
    heights = outline[:, 1]
    assert heights.max() == pytest.approx(radius, abs=1e-3)  # the ball's own surface over the mouth
    assert heights.min() == pytest.approx(radius - 2.0 - point_in, abs=1e-9)
    sides = outline[np.isclose(np.abs(outline[:, 0]), 0.5, atol=1e-9)]
    assert sides[:, 1].max() == pytest.approx(math.sqrt(radius**2 - 0.25), abs=1e-9)
    assert sides[:, 1].min() == pytest.approx(radius - 2.0, abs=1e-9)
    low = outline[heights < radius - 2.0 - 1e-9]
    assert np.abs(low[:, 0]) == pytest.approx(0.5 * (1 - (radius - 2.0 - low[:, 1]) / 0.3), abs=1e-9)
    assert len(low) == (48 if point_in else 0)
    under = np.array(not_none(bore_section(plane, axis, 1.0, 0.5, 2.0)).outline)  # from below the surface: no mouth
    assert (len(under), under[:, 1].max()) == (50, pytest.approx(radius - 0.5, abs=1e-9))
    assert bore_section(plane_through(place(0.0, 2.0, radius), place(2.0, 2.0, radius)), axis, 1.0, 0.0, 2.0) is None


@pytest.mark.parametrize("point_deg", [118, 180])
@pytest.mark.parametrize(("bore", "hole", "oval_in", "oval_deg"), [
    ((0.0, 0.0), (-0.375, 0.0), 0.0, 0), ((0.0, 0.0), (-0.25, 0.25), 0.125, 45), ((-0.25, 0.0), (-0.25, 0.5), 0.1, 80), ((0.1, -0.1), (0.1, -0.1), 0.1, 0),
])  # fmt: skip
def test_a_tilted_drill_clears_the_slug_all_round_and_spares_the_lock_all_round(
    bore: tuple[float, float], hole: tuple[float, float], oval_in: float, oval_deg: int, point_deg: int
) -> None:
    # outside check: points of the drill's full edge and tip, turned into the bore's axis by numpy
    radius, bit, slug, lock = 13.5 / math.pi, 0.9375, 1.75, 2.5
    centre = place(-2.5, 0.0, radius)
    inner, bored = pitched_axis(centre, *hole, THUMB, radius), pitched_axis(centre, *bore, THUMB, radius)
    tilt = tilt_between(inner, bored, oval_deg)
    window = depth_window(slug, lock, bit, point_deg, tilt.deg, oval_in * tilt.share_along)
    down, w = np.array(inner.inwards), np.array(inner.across(oval_deg))
    side = np.cross(down, w)
    turns = np.linspace(0, 2 * math.pi, 2001)

    def depths(at: float) -> tuple[np.ndarray, np.ndarray]:
        """(of the full edge, of the tip) below the surface, down the bore's axis, for both ends of the oval."""
        ends = [sign * oval_in / 2 * w for sign in (1, -1)]
        edge = np.outer(np.cos(turns), w) * bit / 2 + np.outer(np.sin(turns), side) * bit / 2
        full = np.vstack([edge + end + (at - window.point_in) * down for end in ends])
        tips = np.vstack([end + at * down for end in ends])
        return full @ np.array(bored.inwards), tips @ np.array(bored.inwards)

    assert depths(window.least_in)[0].min() == pytest.approx(slug, abs=1e-5)
    assert max(found.max() for found in depths(window.most_in)) == pytest.approx(lock, abs=1e-5)


def test_the_notch_is_drawn_where_it_lies_on_the_ball() -> None:
    # the mark's corners, lifted back on to the sphere and measured from the sleeve's axis, numpy
    solved = solve_grip(GripIn.model_validate(EXAMPLE).to_grip())
    mark = next(shape for shape in draw_grip(solved, 90.0).shapes if shape.kind == "notch")
    corners = np.array([float(x) for x in re.findall(r"-?\d+\.\d+", mark.path)]).reshape(-1, 2)
    lifted = [np.array([x, -y, math.sqrt(not_none(solved.sleeve).radius_in ** 2 - x * x - y * y)]) for x, y in corners]
    away = [distance(not_none(solved.sleeve), point, 0.0, 0.0) for point in lifted]
    assert away == pytest.approx([0.55, 0.75, 0.75], abs=1e-5)
    tip = lifted[0] - np.array(not_none(solved.sleeve).point(0.0))
    assert tip @ np.array(not_none(solved.sleeve).right) > 0.54
    assert tip @ np.array(not_none(solved.sleeve).long) == pytest.approx(0.0, abs=0.01)


def test_an_arrow_of_pitch_lies_along_the_ball_as_it_is_seen() -> None:
    body = {**EXAMPLE, "thumb": {**EXAMPLE["thumb"], "forward_in": -0.5}}
    solved = solve_grip(GripIn.model_validate(body).to_grip())
    arrow = next(s for s in draw_grip(solved).shapes if s.words.startswith("thumb pitch"))
    x, y, tip_x, tip_y = (float(v) for v in re.findall(r"-?\d+\.\d+", arrow.path)[:4])
    assert tip_x == pytest.approx(x, abs=1e-3)
    # twice 1/2 reverse, foreshortened by the cosine of the thumb's 33.6 degrees from the grip centre
    assert tip_y - y == pytest.approx(1.0 * math.cos(2.521823 / solved.holes["thumb"].radius_in), abs=5e-3)


def test_the_balls_outline_is_drawn_in_even_steps() -> None:
    points = [(3.0, 4.0), *_surface_between((3.0, 4.0), (-4.0, 3.0)), (-4.0, 3.0)]
    turns = np.unwrap([math.atan2(y, x) for x, y in points])
    assert np.diff(turns) == pytest.approx([math.pi / 2 / 24] * 24)
    assert [math.hypot(*point) for point in points] == pytest.approx([5.0] * 25)
