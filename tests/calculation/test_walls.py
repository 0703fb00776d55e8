"""Walls between holes against solids: manifold3d, of points that numpy works out from what a plan prints."""

import math
import random
from dataclasses import asdict, dataclass, replace
from typing import Any

import numpy as np
import pytest
from manifold3d import Manifold
from scipy.optimize import nnls

from app.calculation.errors import CannotBuildError
from app.calculation.grip import Finger, Grip, Thumb
from app.calculation.holes import FINGER, Axis, pitched_axis
from app.calculation.sphere import place
from app.calculation.walls import Solid, _nearest_of, wall
from app.models.plans import read_plan
from app.services.work_outs import WorkedOut, work_out
from tests.calculation.reference import ReferenceHole, Sphere
from tests.conftest import not_none

PLANS = 220
WALL_IN = 0.002  # the promise of plans, checks, sections and prints
MESH_IN = 5e-4  # 96 facets of a mean radius up to 0.8, within 2.2e-4 of the round; an edge between two adds to it
CLOSED_FORM_IN = 1e-6
MEETING_IN = 0.003
FACETS = 96
PAIRS = (("thumb", "middle"), ("thumb", "ring"), ("middle", "ring"))


def random_plan(pick: random.Random) -> dict[str, Any]:
    """Any hardware, both hands, ovals any way, pitches to 5/8, bridges down to nothing, floors flat or pointed."""

    def pitch() -> dict[str, float]:
        return {"forward_in": pick.uniform(-0.625, 0.625), "right_in": pick.uniform(-0.625, 0.625)}

    def finger(span: float) -> Finger:
        cut = pick.uniform(0.7, 1.05)
        return Finger(span, cut, cut - pick.uniform(0, 0.3), depth_in=pick.uniform(0.5, 2.5), **pitch())

    kind = pick.choice(("inner", "straight", "slug", "none"))
    thumb = Thumb(
        hole_in=pick.uniform(0.8, 1.1), oval_in=pick.choice((0.0, pick.uniform(0.02, 0.3))), oval_deg=pick.uniform(0, 360),
        depth_in=pick.uniform(1.5, 3.25), **pitch(),
    )  # fmt: skip
    bore_pitch = (0.0, 0.0) if kind == "straight" else (thumb.forward_in, thumb.right_in)
    span = pick.uniform(2.2, 4.8)
    grip = Grip(
        circumference_in=pick.uniform(26.704, 27.002), hand=pick.choice(("right", "left")), thumb=thumb,
        middle=finger(span), ring=finger(span + pick.uniform(-0.2, 0.2)), bridge_in=pick.uniform(0.02, 0.6),
        sleeve_od_in=None if kind == "none" else 1.5, sleeve_pitch_in=None if kind == "none" else bore_pitch,
    )  # fmt: skip
    bore = {
        "bore_in": pick.choice((1.5, 1.5625)), "depth_in": thumb.depth_in, "is_depth_assumed": False, "depth_half_width_in": 0.0, "depth_words": "",
        "forward_in": bore_pitch[0], "right_in": bore_pitch[1],
    }  # fmt: skip
    inner = {"inner_od_in": 1.25, "inner_length_in": 1.75} if kind in {"inner", "straight"} else {}
    return {
        "grip": asdict(grip), "bore": None if kind == "none" else bore, "cusp_limit_in": 0.002, "system": None,
        "point_deg": pick.choice(("118", "135", "180")), "assumed_depths": [], **inner,
    }  # fmt: skip


@dataclass
class Drilled:
    """One bit's solid by the reference's own axes: a hull of points on its rim, in its mouth and on its floor."""

    hole: ReferenceHole
    bit_in: float
    depth_in: float
    oval_in: float = 0.0
    oval_deg: float = 0.0
    point_deg: float = 180.0
    is_collar: bool = False

    def solid(self, at_most_in: float = math.inf) -> Manifold:
        hole, down, radius = self.hole, self.hole.inwards, self.hole.sphere.radius
        turn = math.radians(self.oval_deg)
        w = math.cos(turn) * hole.along + math.sin(turn) * hole.right
        w = (w - (w @ down) * down) / np.linalg.norm(w - (w @ down) * down)
        turns = 2 * np.pi * (np.arange(FACETS) + 0.5) / FACETS
        r = self.bit_in / (1 + math.cos(math.pi / FACETS))  # a polygon as far outside the circle as inside
        swept = np.outer(np.sign(np.cos(turns)) * self.oval_in / 2, w)
        ring = np.outer(np.cos(turns) * r, w) + np.outer(np.sin(turns) * r, np.cross(down, w))

        def lifted(offsets: np.ndarray) -> np.ndarray:
            flat = hole.surface + offsets
            flat = flat - np.outer(flat @ down, down)
            return np.asarray(flat - np.outer(np.sqrt(radius**2 - (flat**2).sum(axis=1)), down))

        depth = self.depth_in
        if self.is_collar:  # the collar rests on the highest point left of the surface
            depth += float(hole.surface @ -down) - float((lifted(ring) @ -down).max())
        depth = min(depth, at_most_in)
        points = [lifted(share * (ring + swept)) for share in (1.0, 0.6, 0.2)]
        points.append(hole.surface + ring + swept + depth * down)
        if self.point_deg < 180:
            tip = depth + self.bit_in / 2 / math.tan(math.radians(self.point_deg) / 2)
            points.append(hole.surface + np.outer((-self.oval_in / 2, self.oval_in / 2), w) + tip * down)
        return Manifold.hull_points(np.vstack(points))


def drilled(plan: dict[str, Any], worked: WorkedOut) -> dict[str, list[Drilled]]:
    """The solids of a plan from its printed places, bits, pitches and depths."""
    grip, bore = plan["grip"], plan["bore"]
    sphere = Sphere(grip["circumference_in"])

    def hole(digit: str, forward_in: float, right_in: float) -> ReferenceHole:
        return ReferenceHole(sphere, sphere.degrees(*worked.places[digit]), forward_in, right_in, digit == "thumb")

    t = grip["thumb"]
    is_inner = "inner_od_in" in plan
    depth = min(plan["inner_length_in"], bore["depth_in"]) if is_inner else t["depth_in"]
    point = 180.0 if is_inner else float(plan["point_deg"])
    thumb = hole("thumb", t["forward_in"], t["right_in"])
    found = {"thumb": [Drilled(thumb, t["hole_in"], depth, t["oval_in"], t["oval_deg"], point)]}
    if bore:
        at = hole("thumb", bore["forward_in"], bore["right_in"])
        found["thumb"].append(Drilled(at, bore["bore_in"], bore["depth_in"], is_collar=True))
    for name in ("middle", "ring"):
        f = grip[name]
        found[name] = [Drilled(hole(name, f["forward_in"], f["right_in"]), f["cut_in"], f["depth_in"])]
    return found


def assert_they_meet_there(one: list[Drilled], other: list[Drilled], depth: float) -> None:
    """Nothing is broken through a little above the depth told, something is a little below it."""
    assert any(not (a.solid(depth + MEETING_IN) ^ b.solid(depth + MEETING_IN)).is_empty() for a in one for b in other)
    if depth > 2 * MEETING_IN:
        above = depth - MEETING_IN
        assert all(a.solid(above).min_gap(b.solid(above), 0.05) > 0 for a in one for b in other)


def test_walls_agree_with_solids_rebuilt_from_the_plan() -> None:
    # outside source: manifold3d, min_gap and intersection of solids made of the plan's own numbers
    pick = random.Random(20261126)
    apart = near = met = 0
    while apart + met < 3 * PLANS:
        plan = random_plan(pick)
        try:
            worked = work_out(not_none(read_plan(plan)))
        except CannotBuildError:
            continue
        solids = drilled(plan, worked)
        for one, other in PAIRS:
            told = worked.walls[f"{one}_{other}"]
            if told.meets_from_in is not None:
                assert told.least_in == 0
                met += 1
                if met % 4 == 0:
                    assert_they_meet_there(solids[one], solids[other], told.meets_from_in)
                continue
            reach = told.least_in + 2 * WALL_IN
            gap = min(a.solid().min_gap(b.solid(), reach) for a in solids[one] for b in solids[other])
            assert told.least_in == pytest.approx(gap, abs=MESH_IN), (one, other, plan)
            apart += 1
            near += told.least_in < 0.05
    assert min(apart, met) > 50
    assert near >= 8


def test_the_other_hand_has_the_same_walls() -> None:
    pick = random.Random(7)
    for _ in range(20):
        plan = random_plan(pick)
        grip = plan["grip"]
        mirrored = plan | {"grip": grip | {"hand": "left" if grip["hand"] == "right" else "right"}}
        for name in ("thumb", "middle", "ring"):
            mirrored["grip"][name] = grip[name] | {"right_in": -grip[name]["right_in"]}
        mirrored["grip"]["thumb"]["oval_deg"] = -grip["thumb"]["oval_deg"]
        if plan["bore"]:
            mirrored["bore"] = plan["bore"] | {"right_in": -plan["bore"]["right_in"]}
            forward, right = grip["sleeve_pitch_in"]
            mirrored["grip"]["sleeve_pitch_in"] = (forward, -right)
        try:
            one, other = work_out(not_none(read_plan(plan))).walls, work_out(not_none(read_plan(mirrored))).walls
        except CannotBuildError:
            continue
        for pair, told in one.items():
            assert other[pair].least_in == pytest.approx(told.least_in, abs=2e-6)
            assert (other[pair].meets_from_in is None) == (told.meets_from_in is None)


RADIUS = 13.5 / math.pi
HALF = math.radians(9)


def straight(side: int, along_in: float = 0.0) -> Axis:
    return pitched_axis(place(along_in, side * RADIUS * HALF, RADIUS), 0.0, 0.0, FINGER, RADIUS)


@pytest.mark.parametrize(("depth", "r"), [(1.0, 0.5), (2.0, 0.3), (0.4, 0.45)])
def test_two_straight_holes_come_closest_at_their_floors(depth: float, r: float) -> None:
    # source: plane trigonometry. Axes meet at the centre at 18°; the floors' facing edges are nearest
    floor = RADIUS - depth
    expected = 2 * (floor * math.sin(HALF) - r * math.cos(HALF))
    found = wall([Solid(straight(-1), 2 * r, depth)], [Solid(straight(1), 2 * r, depth)])
    assert found.least_in == pytest.approx(expected, abs=CLOSED_FORM_IN)
    assert found.meets_from_in is None


@pytest.mark.parametrize(("oval_in", "oval_deg"), [(0.0, 0.0), (0.25, 90.0), (0.25, 270.0)])
def test_holes_that_run_apart_are_nearest_at_their_mouths(oval_in: float, oval_deg: float) -> None:
    # source: plane trigonometry. In the plane of both axes the facing edge, w beside an axis that leans outwards by 10°,
    # leaves the circle of the ball where it runs √(R² − p²) from the foot of the perpendicular p from the centre
    r, lean = 0.5, math.radians(10)
    w = r + oval_in / 2
    axes = [
        replace(straight(side), inwards=(side * math.sin(lean), 0.0, -math.cos(lean)))  # leans outwards on its way down
        for side in (-1, 1)
    ]
    start = RADIUS * math.sin(HALF) - w * math.cos(lean), RADIUS * math.cos(HALF) - w * math.sin(lean)
    down = math.sin(lean), -math.cos(lean)
    along = start[0] * down[0] + start[1] * down[1]
    rise = along + math.sqrt(along**2 - (start[0] ** 2 + start[1] ** 2 - RADIUS**2))
    expected = 2 * (start[0] - rise * down[0])
    found = wall(*([Solid(axis, 2 * r, 1.5, oval_in, oval_deg)] for axis in axes))
    assert found.least_in == pytest.approx(expected, abs=CLOSED_FORM_IN)


def test_an_oval_across_the_way_to_the_other_hole_is_nearest_where_it_bulges() -> None:
    # outside source: numpy over the whole rim of an oval at 40°, lifted on to the sphere; the other hole is its mirror
    # image, and both lean outwards, so that the gap is twice the least distance of a mouth from the mirror
    r, half, lean = 0.5, 0.15, math.radians(10)
    axes = [replace(straight(side), inwards=(side * math.sin(lean), 0.0, -math.cos(lean))) for side in (-1, 1)]
    down, w, centre = (np.array(v) for v in (axes[1].inwards, axes[1].across(40.0), axes[1].point(0.0)))
    turns = np.linspace(0, 2 * np.pi, 400_000)
    off = np.outer(np.sign(np.cos(turns)) * half + r * np.cos(turns), w)
    off += np.outer(r * np.sin(turns), np.cross(down, w))
    flat = centre - (centre @ down) * down + off
    rim = flat - np.outer(np.sqrt(RADIUS**2 - (flat**2).sum(axis=1)), down)
    one, other = (Solid(axis, 2 * r, 1.5, 2 * half, turn) for axis, turn in zip(axes, (-40.0, 40.0), strict=True))
    assert wall([one], [other]).least_in == pytest.approx(2 * rim[:, 0].min(), abs=CLOSED_FORM_IN)


def test_straight_holes_that_meet_do_so_where_their_edges_cross() -> None:
    # source: the same; the edges meet where floor = r / tan 9°
    r = 0.5
    found = wall([Solid(straight(-1), 2 * r, 2.0)], [Solid(straight(1), 2 * r, 1.75)])
    assert found.least_in == 0
    assert found.meets_from_in == pytest.approx(RADIUS - r / math.tan(HALF), abs=1e-4)


def test_holes_that_run_together_at_the_surface_meet_from_there() -> None:
    # the surface half way between lies R (1 - cos 9°) below the place where either axis leaves the ball
    found = wall([Solid(straight(-1), 1.5, 1.0)], [Solid(straight(1), 1.5, 1.0)])
    assert found.least_in == 0
    assert found.meets_from_in == pytest.approx(RADIUS * (1 - math.cos(HALF)), abs=1e-4)


@pytest.mark.parametrize("point_deg", [16, 40])
def test_a_sharp_point_is_nearest_at_its_tip_and_a_blunt_one_at_its_edge(point_deg: int) -> None:
    # source: plane trigonometry. A cone narrower than the 18° between the axes comes nearer on its way down
    r, depth = 0.05, 1.5
    floor = RADIUS - depth
    tip = floor - r / math.tan(math.radians(point_deg / 2))
    expected = 2 * tip * math.sin(HALF) if point_deg < 18 else 2 * (floor * math.sin(HALF) - r * math.cos(HALF))
    one, other = (Solid(straight(side), 2 * r, depth, point_deg=point_deg) for side in (-1, 1))
    assert wall([one], [other]).least_in == pytest.approx(expected, abs=CLOSED_FORM_IN)


def test_any_number_of_solids_make_one_hole() -> None:
    far, near = Solid(straight(1, 2.0), 0.5, 1.0), Solid(straight(1), 0.5, 1.0)
    one = Solid(straight(-1), 0.5, 1.0)
    assert wall([one], [far, near]).least_in == pytest.approx(wall([one], [near]).least_in, abs=1e-9)


def test_a_hole_of_several_solids_meets_where_the_first_of_them_does() -> None:
    # source: plane trigonometry, as above; the wider of two bits down one axis is met higher up
    narrow, wide = (Solid(straight(1), 2 * r, 2.5) for r in (0.4, 0.5))
    found = wall([Solid(straight(-1), 1.0, 2.5)], [narrow, wide])
    assert found.meets_from_in == pytest.approx(RADIUS - 0.5 / math.tan(HALF), abs=1e-4)
    assert wall([Solid(straight(-1), 1.0, 2.5)], [wide, narrow]).meets_from_in == found.meets_from_in


def test_solids_that_share_their_mouth_meet_from_the_surface() -> None:
    assert wall([Solid(straight(1), 0.5, 1.0)], [Solid(straight(1), 0.5, 1.5)]).meets_from_in == 0


def test_a_hole_that_ends_above_the_meeting_place_is_not_followed_farther_down() -> None:
    # source: bisection over the depth of solids cut short. From the side another hole climbs under the floor of this one
    upright = pitched_axis(place(0.0, 0.0, RADIUS), 0.0, 0.0, FINGER, RADIUS)
    mouth, aim = (math.sqrt(RADIUS**2 - 1.5**2), 0.0, 1.5), (-0.1, 0.0, RADIUS - 0.9)
    reach = math.dist(mouth, aim)
    x, y, z = ((b - a) / reach for a, b in zip(mouth, aim, strict=True))
    centre = (mouth[0] / RADIUS, mouth[1] / RADIUS, mouth[2] / RADIUS)
    climbing = replace(upright, centre=centre, inwards=(x, y, z))

    def cut(depth: float) -> tuple[list[Solid], list[Solid]]:
        return [Solid(upright, 0.5, min(1.0, depth))], [Solid(climbing, 0.5, min(reach, depth))]

    low, high = 0.01, reach
    while high - low > 1e-5:
        middle = (low + high) / 2
        low, high = (middle, high) if wall(*cut(middle)).least_in else (low, middle)
    assert wall(*cut(reach)).meets_from_in == pytest.approx(high, abs=1e-3)


def test_a_hole_without_depth_is_refused() -> None:
    with pytest.raises(CannotBuildError) as refused:
        wall([Solid(straight(-1), 0.5, 0.0)], [Solid(straight(1), 0.5, 1.0)])
    assert refused.value.field == "depth_in"


def test_the_nearest_point_of_a_simplex_is_that_of_quadratic_programming() -> None:
    """Against scipy's least squares with weights of 0 or more, which are made to add up to 1 by a heavy row."""
    chance = np.random.default_rng(5)
    for corners in [1, 2, 3, 4] * 100:
        points = chance.normal(0.0, 1.0, (corners, 3)) + chance.normal(0.0, 0.7, 3)
        shares, _ = nnls(np.vstack([points.T, np.full(corners, 1e4)]), np.array([0.0, 0.0, 0.0, 1e4]))
        _, nearest = _nearest_of([(float(x), float(y), float(z)) for x, y, z in points])
        assert nearest == pytest.approx(points.T @ shares, abs=1e-5)
