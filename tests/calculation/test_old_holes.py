"""Old holes in the frame of a new grip, and the share of a new hole's wall in them."""

import math
import random
from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from app.calculation.errors import CannotBuildError
from app.calculation.holes import FINGER, THUMB, OldHole, pitched_axis
from app.calculation.old_holes import (
    GripMark,
    check_old_hole,
    measure_span_in,
    place_by_span,
    see_from_grip,
    see_mark_from,
    share_of_wall,
)
from app.calculation.sphere import place
from app.calculation.walls import Solid
from app.models.old_holes import PlannedOldHole
from app.models.plans import read_plan
from app.services.work_outs import work_out
from tests.calculation.reference import ReferenceHole, Sphere
from tests.calculation.test_walls import WALL_IN, Drilled, drilled, random_plan
from tests.conftest import not_none

AROUND = 27.0
RADIUS = AROUND / 2 / math.pi


def random_hole(pick: random.Random, reach_in: float = 4.0) -> OldHole:
    return OldHole(
        pick.uniform(-reach_in, reach_in), pick.uniform(-reach_in, reach_in), pick.uniform(0.6, 1.5),
        pick.uniform(-0.6, 0.6), pick.uniform(-0.6, 0.6), pick.uniform(0.6, 3.0), pick.choice(("thumb", "finger")),
    )  # fmt: skip


def test_an_old_hole_is_the_same_cylinder_from_any_grip() -> None:
    # outside source: scipy Rotation.align_vectors takes the old frame to the new one
    pick = random.Random(14)
    for _ in range(200):
        hole, mark = random_hole(pick), GripMark(pick.uniform(-3, 3), pick.uniform(-2, 2), pick.uniform(-180, 180))
        seen = see_from_grip(hole, mark, RADIUS)
        sphere = Sphere(AROUND)
        up = sphere.point(*sphere.degrees(mark.along_in, mark.across_in)) / RADIUS
        ahead = np.array((0.0, 1.0, 0.0)) - up[1] * up  # straight on towards the fingers, as pitches count it
        moved, _ = Rotation.align_vectors([up, ahead / np.linalg.norm(ahead)], [(0, 0, 1), (0, 1, 0)])
        back = moved * Rotation.from_euler("z", -math.radians(mark.turn_deg))
        old, new = hole.find_axis(RADIUS), seen.find_axis(RADIUS)
        assert back.apply(new.centre) == pytest.approx(np.array(old.centre), abs=1e-9)
        assert back.apply(new.inwards) == pytest.approx(np.array(old.inwards), abs=1e-9)
        back_again = see_from_grip(seen, see_mark_from(mark, RADIUS), RADIUS)
        assert list(vars(back_again).values())[:6] == pytest.approx(list(vars(hole).values())[:6], abs=1e-9)
        assert (seen.cut_in, seen.depth_in, seen.digit) == (hole.cut_in, hole.depth_in, hole.digit)
    assert see_from_grip(hole, GripMark(), RADIUS) == hole


@pytest.mark.parametrize(
    ("wrong", "field"),
    [
        ({"along_in": 14.0}, "along_in"),
        ({"across_in": 6.8}, "across_in"),
        ({"depth_in": 4.3}, "depth_in"),
        ({"forward_in": 4.0, "cut_in": 2.0}, "forward_in"),
    ],
)
def test_a_hole_that_is_not_in_the_ball_names_its_field(wrong: dict[str, float], field: str) -> None:
    good = OldHole(1.0, 1.0, 1.0, 0.0, 0.0, 2.0, "finger")
    check_old_hole(good, RADIUS)
    with pytest.raises(CannotBuildError) as refused:
        check_old_hole(OldHole(**(vars(good) | wrong)), RADIUS)
    assert refused.value.field == field


def solid(along_in: float, across_in: float, bore_in: float, depth_in: float) -> Solid:
    axis = pitched_axis(place(along_in, across_in, RADIUS), 0.0, 0.0, FINGER, RADIUS)
    return Solid(axis, bore_in, depth_in)


def test_a_wall_wholly_in_an_old_hole_in_half_of_it_and_nowhere_near() -> None:
    assert share_of_wall(solid(0, 0, 1.0, 1.0), solid(0, 0, 1.5, 2.0)) == pytest.approx(1, abs=1e-9)
    assert share_of_wall(solid(0, 0, 1.5, 2.0), solid(0, 0, 1.0, 2.0)) == 0
    assert share_of_wall(solid(0, 0, 1.0, 2.0), solid(0, 2.5, 1.0, 2.0)) == 0
    # source: the lens of two equal parallel circles, a radius apart: a third of each one's rim is in the other
    one = Solid(pitched_axis(place(0, 0, RADIUS), 0, 0, FINGER, RADIUS), 0.1, 1.0)
    aside = math.asin(0.05 / RADIUS) * RADIUS
    beside = Solid(pitched_axis(place(0, aside, RADIUS), 0, 0.05, FINGER, RADIUS), 0.1, 2.0)
    assert abs(one.axis.inwards[0] - beside.axis.inwards[0]) < 1e-12
    assert share_of_wall(one, beside) == pytest.approx(1 / 3, abs=0.005)


def test_the_share_agrees_with_thin_shells_of_a_solid_modeller() -> None:
    # outside source: manifold3d, the share of a thin shell of the new hole that lies inside the old one
    pick = random.Random(20261127)
    sphere, seen, shell = Sphere(AROUND), 0, 0.004
    for _ in range(40):
        new = random_hole(pick, 1.0)
        old = OldHole(
            new.along_in + pick.uniform(-0.7, 0.7), new.across_in + pick.uniform(-0.7, 0.7), pick.uniform(0.7, 1.5),
            pick.uniform(-0.6, 0.6), pick.uniform(-0.6, 0.6), pick.uniform(0.6, 3.0), "finger",
        )  # fmt: skip
        oval, deg = pick.choice((0.0, 0.2)), pick.uniform(0, 360)

        def cut(hole: OldHole, size: float, oval_in: float = 0.0, oval_deg: float = 0.0) -> Drilled:
            at = sphere.degrees(hole.along_in, hole.across_in)
            made = ReferenceHole(sphere, at, hole.forward_in, hole.right_in, hole.digit == "thumb")
            return Drilled(made, size, hole.depth_in, oval_in, oval_deg)

        wide, narrow = (cut(new, new.cut_in + d, oval, deg).solid() for d in (shell, -shell))
        wall, filled = wide - narrow, cut(old, old.cut_in).solid()
        floor = share_of_wall(
            Solid(new.find_axis(RADIUS), new.cut_in, new.depth_in, oval, deg),
            Solid(old.find_axis(RADIUS), old.cut_in, old.depth_in),
        )
        assert floor == pytest.approx((wall ^ filled).volume() / wall.volume(), abs=0.015)
        seen += 0.05 < floor < 0.95
    assert seen > 15
    assert THUMB == -FINGER


def test_walls_to_old_holes_agree_with_solids() -> None:
    # outside source: manifold3d, min_gap and intersection of solids made of the plan's own numbers; both hands, any
    # hardware, pitches to 5/8, oval thumbs, old holes anywhere about the grip
    pick = random.Random(20261128)
    apart = met = near = 0
    while apart + met < 300:
        plan = random_plan(pick)
        try:
            bare = work_out(not_none(read_plan(plan)))
        except CannotBuildError:
            continue
        at = bare.places[pick.choice(("thumb", "middle", "ring"))]
        hole = random_hole(pick)
        hole = replace(hole, along_in=at[0] + pick.uniform(-1.7, 1.7), across_in=at[1] + pick.uniform(-1.7, 1.7))
        old = PlannedOldHole(1, "hole", hole, False, "", None, ())
        worked = work_out(replace(not_none(read_plan(plan)), old_holes=(old,)))
        sphere = Sphere(plan["grip"]["circumference_in"])
        made = ReferenceHole(
            sphere, sphere.degrees(hole.along_in, hole.across_in), hole.forward_in, hole.right_in, hole.digit == "thumb"
        )
        there, solids = Drilled(made, hole.cut_in, hole.depth_in), drilled(plan, worked)
        for name, told in worked.old_walls[0].walls.items():
            gap = min(a.solid().min_gap(there.solid(), told.least_in + 2 * WALL_IN) for a in solids[name])
            assert told.least_in == pytest.approx(gap, abs=WALL_IN), (name, hole, plan)
            met += told.least_in == 0
            apart += told.least_in > 0
            near += 0 < told.least_in < 0.1
    assert (min(apart, met) > 40, near > 8) == (True, True), (apart, met, near)


def test_a_span_to_a_known_hole_places_it_where_the_contract_has_it() -> None:
    # the worked grip of the calculation contract: sleeve-to-cut 3.735459 to the middle finger at (2.430544, -0.607117)
    sleeve = OldHole(-2.521823, 0.0, 1.5, -0.25, 0.0, 2.75, "thumb")
    middle = OldHole(0.0, -0.607117, 0.96875, -0.25, 0.0, 1.0, "finger")
    placed = place_by_span(middle, sleeve, 3.735459, 1, RADIUS)
    assert placed.across_in == -0.607117
    assert placed.along_in == pytest.approx(2.430544, abs=2e-6)
    assert measure_span_in(placed, sleeve, RADIUS) == pytest.approx(3.735459, abs=1e-9)
    back = place_by_span(replace(sleeve, along_in=0.0), placed, 3.735459, -1, RADIUS)
    assert back.along_in == pytest.approx(-2.521823, abs=2e-6)


@pytest.mark.parametrize("span_in", [-1.5, 6.0])
def test_a_span_that_leads_nowhere_names_itself(span_in: float) -> None:
    known, hole = OldHole(0.0, 0.0, 1.0, 0.0, 0.0, 1.0, "finger"), OldHole(0.0, 0.5, 1.0, 0.0, 0.0, 1.0, "finger")
    with pytest.raises(CannotBuildError) as refused:
        place_by_span(hole, known, span_in, 1, RADIUS)
    assert refused.value.field == "span_in"


def test_a_hole_may_come_within_half_its_size_of_the_balls_edge() -> None:
    # by hand: a 1 in hole that misses the centre by 3 5/8 reaches 4 1/8, within the radius of 4.297 in; by 3 13/16 not
    hole = OldHole(0.0, 0.0, 1.0, 3.625, 0.0, 2.0, "thumb")
    check_old_hole(hole, 13.5 / math.pi)
    with pytest.raises(CannotBuildError) as refused:
        check_old_hole(replace(hole, forward_in=3.8125), 13.5 / math.pi)
    assert refused.value.field == "forward_in"
