import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from manifold3d import Manifold
from scipy.optimize import brentq, lsq_linear

from app.calculation.cuts import grip_cuts
from app.calculation.errors import CannotBuildError
from app.calculation.grip import Finger, Grip, SolvedGrip, Thumb, place_in
from app.calculation.grip_solver import remeasure, solve_grip
from app.calculation.holes import Axis, axis_gap_in, edge_angle, pitched_axis, rim_points
from app.calculation.ovals import oval_plan
from app.calculation.sphere import place
from app.schemas.calc_grips import GripIn, GripOut
from tests.calculation import reference
from tests.calculation.grips import EXAMPLE, Json, bodies, example
from tests.conftest import not_none

SAME_IN = 1e-9  # two ways through our own code
REFERENCE_IN = 1e-7  # the reference's own root finding; the promise of the API is 1e-6
PRINTED_IN = 5e-7  # six printed places
SOLID_IN = 2e-4  # a cylinder of 256 facets of radius 0.75 lies up to 5.7e-5 inside; pitched ends add to it


def solved(body: Json) -> SolvedGrip:
    return solve_grip(GripIn.model_validate(body).to_grip())


def answer(body: Json) -> Json:
    return GripOut.of(solved(body)).model_dump()


def flat(numbers: Json, path: str = "") -> dict[str, float]:
    found: dict[str, float] = {}
    for key, value in numbers.items():
        if isinstance(value, dict):
            found |= flat(value, f"{path}{key}.")
        elif value is not None:
            found[path + key] = value
    return found


def test_the_written_example_comes_out_as_written() -> None:
    # source: the project's own calculation contract, worked out apart from this code
    got = flat(answer(EXAMPLE))
    expected = {
        "holes.thumb.along_in": -2.521823,
        "holes.middle.along_in": 2.430544,
        "holes.middle.across_in": -0.607117,
        "holes.ring.along_in": 2.564163,
        "holes.ring.across_in": 0.607738,
        "spans.middle.finished_in": 4.140738,
        "spans.ring.finished_in": 4.281393,
        "spans.middle.sleeve_to_cut_in": 3.735459,
        "spans.ring.sleeve_to_cut_in": 3.867543,
        "bridge.finished_in": 0.548903,
    }
    for name, value in expected.items():
        assert got[name] == pytest.approx(value, abs=PRINTED_IN), name


@settings(max_examples=40, deadline=None)
@given(bodies())
def test_any_grip_agrees_with_geodesics_and_a_root_finder(body: Json) -> None:
    # outside source: pyproj.Geod on a sphere, numpy, scipy.optimize.fsolve; see reference.py
    try:
        got = flat(answer(body))
    except CannotBuildError:
        assert abs(body["middle"]["span_in"] - body["ring"]["span_in"]) > 0.2
        return
    expected = flat(reference.solve(body))
    for name, value in expected.items():
        assert got[name] == pytest.approx(value, abs=REFERENCE_IN), name


@settings(max_examples=80, deadline=None)
@given(bodies(edges=("cut",)))
def test_the_other_hand_mirrors_everything(body: Json) -> None:
    mirrored = {**body, "hand": "left" if body["hand"] == "right" else "right"}
    for name in ("thumb", "middle", "ring"):
        mirrored[name] = {**body[name], "right_in": -body[name]["right_in"]}
    mirrored["thumb"]["oval_deg"] = -body["thumb"]["oval_deg"]
    try:
        one = answer(body)
    except CannotBuildError:
        with pytest.raises(CannotBuildError):
            answer(mirrored)
        return
    other = answer(mirrored)
    for name in ("thumb", "middle", "ring"):
        assert other["holes"][name]["along_in"] == pytest.approx(one["holes"][name]["along_in"], abs=SAME_IN)
        assert other["holes"][name]["across_in"] == pytest.approx(-one["holes"][name]["across_in"], abs=SAME_IN)
    assert flat(other["spans"]) == pytest.approx(flat(one["spans"]), abs=SAME_IN)
    assert flat(other["webs"]) == pytest.approx(flat(one["webs"]), abs=1e-8)


@settings(max_examples=80, deadline=None)
@given(bodies(edges=("cut",)))
def test_edges_out_are_edges_in(body: Json) -> None:
    try:
        first = solved(body)
    except CannotBuildError:
        return
    for edges, name in (("finished", "finished_in"), ("sleeve", "sleeve_to_cut_in")):
        again = {**body, "span_edges": edges}
        for finger in ("middle", "ring"):
            again[finger] = {**body[finger], "span_in": getattr(getattr(first, f"{finger}_spans"), name)}
        second = solved(again)
        assert second.spans["middle"].cut_in == pytest.approx(first.spans["middle"].cut_in, abs=SAME_IN)
        assert second.spans["ring"].cut_in == pytest.approx(first.spans["ring"].cut_in, abs=SAME_IN)
        assert place_in(second.holes["thumb"]) == pytest.approx(place_in(first.holes["thumb"]), abs=SAME_IN)


def test_sleeve_to_cut_as_predicted_gives_the_spans_as_specified() -> None:
    first = solved(EXAMPLE)
    built = remeasure(
        first.grip,
        not_none(first.spans["middle"].sleeve_to_cut_in),
        not_none(first.spans["ring"].sleeve_to_cut_in),
        has_sleeve=True,
    )
    assert built.spans["middle"].cut_in == pytest.approx(4.0, abs=SAME_IN)
    assert built.spans["ring"].cut_in == pytest.approx(4.125, abs=SAME_IN)


def test_a_longer_sleeve_to_cut_is_a_longer_finished_span() -> None:
    first = solved(EXAMPLE)
    sleeve = not_none(first.spans["middle"].sleeve_to_cut_in)
    built = remeasure(first.grip, sleeve + 1 / 64, not_none(first.spans["ring"].sleeve_to_cut_in), has_sleeve=True)
    assert built.spans["middle"].finished_in - first.spans["middle"].finished_in == pytest.approx(1 / 64, abs=2e-5)


def test_without_pitch_an_edge_is_the_arcsine_of_its_radius() -> None:
    # hand-worked: the half chord r of a ball of radius R subtends asin(r / R)
    grip = Grip(27.0, "right", Thumb(1.0), Finger(4.0, 31 / 32, 31 / 32), Finger(4.0, 31 / 32, 31 / 32), 0.25)
    result = solve_grip(grip)
    radius = 13.5 / math.pi
    distance = radius * math.acos(float(np.dot(result.holes["thumb"].centre, result.holes["middle"].centre)))
    assert distance == pytest.approx(4.9865, abs=5e-5)  # trade note D3: span 4, thumb 1, finger 31/32
    assert edge_angle(result.holes["thumb"], result.holes["thumb"].long, 1.0) == pytest.approx(
        math.asin(0.5 / radius), abs=1e-13
    )


def test_a_pitch_in_the_plane_has_the_closed_form() -> None:
    result = solve_grip(
        Grip(27.0, "left", Thumb(1.0, 0.375), Finger(4.0, 31 / 32, 0.7), Finger(4.0, 31 / 32, 0.7), 0.25)
    )
    radius = 13.5 / math.pi
    expected = math.asin((0.375 + 0.5) / radius) - math.asin(0.375 / radius)
    assert edge_angle(result.holes["thumb"], result.holes["thumb"].long, 1.0) == pytest.approx(expected, abs=1e-13)


def test_a_4_in_grip_has_its_thumb_cut_line_2_in_from_the_grip_centre() -> None:
    # common practice, no source
    grip = Grip(27.0, "right", Thumb(15 / 16, -0.25), Finger(4.0, 31 / 32, 0.7), Finger(4.0, 31 / 32, 0.7), 0.25)
    result = solve_grip(grip)
    assert result.half_span_in == pytest.approx(2.0, abs=SAME_IN)
    edge = grip_cuts(result, None, oval_plan(15 / 16, 0.0, 0.0, 0.002))[0].near_edge_in
    assert edge == pytest.approx((-2.0, 0.0), abs=SAME_IN)


def test_a_straight_sleeve_about_a_pitched_thumb_changes_sleeve_to_cut_only() -> None:
    grip = solved(EXAMPLE).grip
    pitched = solve_grip(grip)
    straight = solve_grip(
        Grip(**{**vars(grip), "sleeve_pitch_in": (0.0, 0.0)}),
    )
    assert straight.spans["middle"].cut_in == pytest.approx(pitched.spans["middle"].cut_in, abs=SAME_IN)
    radius, p = 13.5 / math.pi, -0.25
    shift = radius * ((math.asin((p + 0.75) / radius) - math.asin(p / radius)) - math.asin(0.75 / radius))
    before, after = pitched.spans["middle"].sleeve_to_cut_in, straight.spans["middle"].sleeve_to_cut_in
    change = not_none(after) - not_none(before)
    assert change == pytest.approx(shift, abs=2e-3)  # the span leaves the centre line by a few degrees


@pytest.mark.parametrize(
    ("changed", "field"),
    [
        ({"bridge_in": 2.0, "middle": {**EXAMPLE["middle"], "span_in": 1.0}, "ring": {**EXAMPLE["ring"], "span_in": 7.0}}, "ring.span_in"),
        ({"ring": {**EXAMPLE["ring"], "span_in": 6.0}}, "ring.span_in"),
        ({"middle": {**EXAMPLE["middle"], "span_in": 6.0}}, "middle.span_in"),
        ({"middle": {**EXAMPLE["middle"], "span_in": 5.95}, "ring": {**EXAMPLE["ring"], "span_in": 5.6}}, "middle.span_in"),
        ({"middle": {**EXAMPLE["middle"], "span_in": 5.6}, "ring": {**EXAMPLE["ring"], "span_in": 5.95}}, "middle.span_in"),
        ({"span_edges": "sleeve", "sleeve_od_in": None}, "sleeve_od_in"),
        ({"middle": {**EXAMPLE["middle"], "span_in": 6.5}, "ring": {**EXAMPLE["ring"], "span_in": 6.5}}, "middle.span_in"),
    ],
)  # fmt: skip
def test_what_cannot_close_names_its_field(changed: Json, field: str) -> None:
    with pytest.raises(CannotBuildError) as refused:
        solved(example(**changed))
    assert refused.value.field == field


def test_a_bridge_wider_than_both_spans_together_is_refused() -> None:
    with pytest.raises(CannotBuildError) as refused:
        solve_grip(Grip(27.0, "right", Thumb(1.0), Finger(0.5, 1.0, 1.0), Finger(0.5, 1.0, 1.0), 2.5))
    assert refused.value.field == "bridge_in"


@settings(max_examples=60, deadline=None)
@given(bodies(edges=("cut",)))
def test_rim_diagnosis_lie_on_the_ball_and_on_their_cylinder(body: Json) -> None:
    try:
        result = solved(body)
    except CannotBuildError:
        return
    thumb = body["thumb"]
    for axis, size, oval, turn in (
        (result.holes["thumb"], thumb["hole_in"], thumb["oval_in"], thumb["oval_deg"]),
        (result.holes["middle"], body["middle"]["cut_in"], 0.0, 0.0),
    ):
        hole = reference.ReferenceHole(reference.Sphere(body["circumference_in"]), (0.0, 0.0), 0.0, 0.0, is_thumb=True)
        hole.surface, hole.inwards = np.array(axis.point(0.0)), np.array(axis.inwards)
        hole.along, hole.right = np.array(axis.long), np.array(axis.right)
        for point in rim_points(axis, size, oval, turn):
            assert math.dist(point.at, (0, 0, 0)) == pytest.approx(axis.radius_in, abs=1e-9)
            assert hole.distance(np.array(point.at), oval, turn) == pytest.approx(size / 2, abs=1e-9)


def cylinder(axis: Axis, diameter: float, depth: float) -> Manifold:
    """A bore as a solid, from the surface point on its axis down to its depth."""
    made = Manifold.cylinder(depth, diameter / 2, circular_segments=256)
    z = np.array(axis.inwards)
    x = np.cross([0.3, 0.5, -0.8], z)
    x /= np.linalg.norm(x)
    start = np.array(axis.point(0.0))
    return made.transform(np.column_stack([x, np.cross(z, x), z, start]))


@settings(max_examples=25, deadline=None)
@given(bodies(edges=("cut",)))
def test_webs_agree_with_solids(body: Json) -> None:
    # outside source: manifold3d. Flat-ended solids touch no sooner than the capsules that a web speaks of,
    # so where the solids are apart by g the web is at most g, and equal where both ends lie beside each other.
    try:
        result = solved(body)
    except CannotBuildError:
        return
    pairs = (
        (result.web_middle_ring_in, (result.holes["middle"], body["middle"]["cut_in"], 1.0), (result.holes["ring"], body["ring"]["cut_in"], 1.0)),
        (result.web_thumb_middle_in, (not_none(result.sleeve), body["sleeve_od_in"], 2.75), (result.holes["middle"], body["middle"]["cut_in"], 1.0)),
    )  # fmt: skip
    for web, a, b in pairs:
        one, two = cylinder(*a), cylinder(*b)
        gap = one.min_gap(two, 4.0)
        assert not_none(web) <= gap + SOLID_IN
        if not_none(web) < -0.02:
            assert (one ^ two).volume() > 0


def gap_by_least_squares(a: Axis, depth_a: float, b: Axis, depth_b: float) -> float:
    """The least distance between two axes down to their depths: scipy's bounded least squares."""
    ways = np.column_stack([a.inwards, -np.array(b.inwards)])
    between = np.array(b.point(0.0)) - np.array(a.point(0.0))
    return float(np.linalg.norm(lsq_linear(ways, between, (0, [depth_a, depth_b]), tol=1e-14).fun))


def test_the_gap_between_two_axes_is_that_of_bounded_least_squares() -> None:
    # outside source: scipy.optimize.lsq_linear; holes anywhere on the ball, so that either end, or neither, is nearest
    pick, radius = np.random.default_rng(3), 27 / math.tau
    for _ in range(60):
        (along, across), pitches = pick.uniform(-2.5, 2.5, (2, 2)), pick.uniform(-1.2, 1.2, (2, 2))
        a, b = (
            pitched_axis(place(along[i], across[i], radius), pitches[i, 0], pitches[i, 1], (1, -1)[i], radius)
            for i in (0, 1)
        )
        depths = pick.uniform(0.2, 5.0, 2)
        expected = gap_by_least_squares(a, depths[0], b, depths[1])
        assert axis_gap_in(a, depths[0], b, depths[1]) == pytest.approx(expected, abs=1e-7)
    beside = replace(a, centre=place(0.0, 1.0, radius), inwards=(0.0, 0.0, -1.0))
    level = replace(a, centre=place(0.0, 0.0, radius), inwards=(0.0, 0.0, -1.0))  # two axes side by side
    assert axis_gap_in(level, 2.0, beside, 1.0) == pytest.approx(radius * math.sin(1 / radius), abs=1e-12)


@pytest.mark.parametrize(
    ("hand", "sleeve", "bridge"), [("right", 1.5, 0.25), ("left", None, 0.05), ("left", 1.375, 0.1)]
)
def test_webs_are_the_gaps_between_axes_less_both_radii(hand: str, sleeve: float | None, bridge: float) -> None:
    # outside source: scipy.optimize.lsq_linear and brentq; geometry, "Web", with fingers drilled to different depths
    body = example(hand=hand, sleeve_od_in=sleeve, bridge_in=bridge)
    body["middle"] |= {"depth_in": 1.75, "right_in": 0.25}
    body["ring"] |= {"depth_in": 1.25, "cut_in": 1.0}
    if not sleeve:
        body["thumb"]["right_in"] = 0.375
    got = solved(body)
    depths = {"thumb": 2.75, "middle": 1.75, "ring": 1.25}
    radii = {"thumb": (sleeve or 1.0) / 2, "middle": 0.484375, "ring": 0.5}  # 15/16 and an oval of 1/16 make 1
    for one, other in (("thumb", "middle"), ("thumb", "ring"), ("middle", "ring")):
        gap = gap_by_least_squares(getattr(got, one), depths[one], getattr(got, other), depths[other])
        web = gap - radii[one] - radii[other]
        assert getattr(got, f"web_{one}_{other}_in") == pytest.approx(web, abs=1e-7), (one, other)

    def over(depth: float) -> float:
        return (
            gap_by_least_squares(got.holes["middle"], min(depth, 1.75), got.holes["ring"], min(depth, 1.25)) - 0.984375
        )

    meet = got.fingers_meet_at_in
    assert (meet is None) == (not_none(got.web_middle_ring_in) >= 0)
    if meet is not None:
        assert meet == pytest.approx(0.0 if over(1e-6) <= 0 else brentq(over, 1e-6, 1.75), abs=1e-6)


def test_finger_holes_meet_where_the_solids_first_do() -> None:
    result = solved(EXAMPLE)
    depth = result.fingers_meet_at_in
    assert depth is not None
    apart = cylinder(result.holes["middle"], 0.96875, depth - 0.08) ^ cylinder(
        result.holes["ring"], 0.96875, depth - 0.08
    )
    joined = cylinder(result.holes["middle"], 0.96875, depth + 0.08) ^ cylinder(
        result.holes["ring"], 0.96875, depth + 0.08
    )
    assert apart.is_empty()
    assert not joined.is_empty()


def test_a_lifted_oval_reaches_as_far_as_its_farther_end() -> None:
    # by hand: half the sweep is 0.1 in, 60° off the lift of 0.1 in; its far end lies (0.15, 0.0866) from the axis
    finger = Finger(span_in=4.0, cut_in=1.0, hole_in=0.5, lift_in=0.1, lift_deg=30, oval_in=0.2, oval_deg=90)
    assert finger.inside_reach_in == pytest.approx(0.17320508 + 0.25, abs=1e-8)
