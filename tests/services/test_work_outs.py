"""What a plan made by hand works out to, by the written formulas with numpy: geometry, "Depth" and section 4."""

import math
from dataclasses import replace

import numpy as np
import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.calculation.grip import Finger, Grip, Thumb
from app.models import Ball, Drilling, Fit
from app.models.plans import Plan, PlannedBore, PlannedInner, PlannedLimit, PlannedLimits, PlannedSystem
from app.pages.environment import templates
from app.pages.sections import draw_section
from app.schemas.drillings import PlanForm
from app.services import checks, plans
from app.services.work_outs import build_solids, calculate_wall, work_out
from tests.conftest import not_none
from tests.services.conftest import Make
from tests.services.test_plans import other_system, planned_on

pytestmark = pytest.mark.once  # numbers, which no database changes

AROUND_IN = 26.875
RADIUS_IN = AROUND_IN / math.tau
THUMB = Thumb(0.9375, -0.25, 0.1875, 0.0625, 30.0, 2.625)
BORES = {"like the thumb": (-0.25, 0.1875), "straight": (0.0, 0.0), "aside": (-0.125, -0.25)}
LIMITS = PlannedLimits(*(PlannedLimit(value, True) for value in (1 / 16, 1 / 32, 3 / 16, 1.0, 3.25)))


def planned(pitch: tuple[float, float] = BORES["aside"], hand: str = "left", point_deg: float = 118.0) -> Plan:
    """A left hand's plan with pitches of both ways, an oval and every part of its hardware."""
    middle = Finger(4.0, 0.96875, 0.6875, -0.25, 0.0625, 0.875)
    ring = Finger(4.125, 1.0, 0.65625, -0.125, -0.125, 1.125)
    return Plan(
        grip=Grip(AROUND_IN, hand, THUMB, middle, ring, 0.3125, sleeve_od_in=1.5, sleeve_pitch_in=pitch),  # type: ignore[arg-type]
        fit="A",
        bore=PlannedBore(1.53125, 2.75, 0.01, "our collar", False, *pitch),
        notch_deg=None,
        cusp_limit_in=0.002,
        limits=LIMITS,
        system=PlannedSystem("lock", "bore_floor", (1.25, 1.375), 2.375, 1.875, {"1 1/4": 1}),
        safe_depth_in=None,
        point_deg=point_deg,
        assumed_depths=("ring",),
        inner=PlannedInner(1.25, 1.875),
        kept=None,
    )


def inwards(pitch: tuple[float, float]) -> np.ndarray:
    """The axis of a hole with a pitch (forward, right) in its tangent frame: right, forward, out."""
    flat = np.array([pitch[1], pitch[0], 0.0]) / RADIUS_IN
    return np.array([*flat[:2], -math.sqrt(1 - flat @ flat)])


@pytest.mark.parametrize("name", BORES)
def test_the_wall_of_an_inner_is_that_of_the_pitch_its_hole_has_beside_its_bore(name: str) -> None:
    plan = planned(BORES[name])
    lean = np.array([THUMB.forward_in, THUMB.right_in]) - BORES[name]
    beta = math.asin(np.hypot(*lean) / RADIUS_IN)
    way = lean / np.hypot(*lean) if beta else lean
    clock = np.array([math.cos(math.radians(30)), math.sin(math.radians(30))])
    depths = np.linspace(0, 1.875, 16)
    ends = [np.outer(depths * math.tan(beta), way) + side / 32 * clock for side in (1, -1)]
    reach = max(float(np.linalg.norm(end, axis=1).max()) for end in ends) + 0.46875 / math.cos(beta)
    worked = work_out(plan)
    assert not_none(worked.wall).least_wall_in == pytest.approx(0.625 - reach, abs=1e-12)
    assert not_none(calculate_wall(plan, 1.375)).least_wall_in == pytest.approx(0.6875 - reach, abs=1e-12)
    assert calculate_wall(replace(plan, inner=None), 1.25) is calculate_wall(replace(plan, bore=None), 1.25) is None


def test_the_smallest_inner_that_leaves_the_wall_beside_its_tilt_is_taken() -> None:
    # the walls themselves are those of the test above; a limit is kept where a wall equals it
    plan = planned(BORES["aside"])
    walls = [not_none(calculate_wall(plan, outside)).least_wall_in for outside in (1.25, 1.375)]
    assert walls[0] < walls[1]
    for limit, outside in ((walls[0], 1.25), (walls[0] + 1e-6, 1.375), (walls[1], 1.375), (walls[1] + 1e-6, 1.25)):
        kept = replace(plan, limits=replace(LIMITS, least_wall=PlannedLimit(limit, False)))
        assert not_none(plans._widen_inner(kept).inner).outside_in == outside


@pytest.mark.parametrize("point_deg", [118.0, 180.0])
@pytest.mark.parametrize("name", BORES)
def test_the_window_of_the_drill_is_that_of_its_tilt_in_the_bore(name: str, point_deg: float) -> None:
    hole, bore = inwards((THUMB.forward_in, THUMB.right_in)), inwards(BORES[name])
    beta = math.acos(min(1.0, float(hole @ bore)))
    clock = np.array([math.sin(math.radians(30)), math.cos(math.radians(30)), 0.0])
    clock = clock - (clock @ hole) * hole
    lean = bore - (bore @ hole) * hole
    share = abs(lean @ clock) / np.linalg.norm(lean) / np.linalg.norm(clock) if beta > 1e-6 else 0.0
    point = 0.0 if point_deg == 180 else 0.46875 / math.tan(math.radians(59))
    swept, reach = math.tan(beta) * share / 32, math.tan(beta) * (0.46875 + share / 32)
    window = not_none(work_out(planned(BORES[name], point_deg=point_deg)).window)
    assert window.point_in == pytest.approx(point, abs=1e-9)
    assert window.least_in == pytest.approx(1.875 / math.cos(beta) + reach + point, abs=1e-7)
    most = 2.375 / math.cos(beta)
    assert window.most_in == pytest.approx(min(most - swept, most - reach + point), abs=1e-7)


def test_a_window_wants_both_lengths_an_inner_and_a_bore() -> None:
    plan = planned()
    system = not_none(plan.system)
    for lacking in (
        replace(plan, inner=None),
        replace(plan, bore=None),
        replace(plan, system=None),
        replace(plan, system=replace(system, lock_depth_in=None)),
        replace(plan, system=replace(system, inner_length_in=None)),
    ):
        assert work_out(lacking).window is None


@pytest.mark.parametrize("name", BORES)
def test_a_bore_ends_a_collar_setting_below_the_highest_point_left(name: str) -> None:
    pitch = math.hypot(*BORES[name])
    high, crown = (math.sqrt(RADIUS_IN**2 - x**2) for x in (1.53125 / 2 - pitch, pitch))
    worked = work_out(planned(BORES[name]))
    assert worked.bore_floor_in == pytest.approx(2.75 + crown - high, abs=1e-12)
    bored, hole = build_solids(planned(BORES[name]), worked.solved)["thumb"]
    assert (bored.bore_in, bored.depth_in, bored.oval_in) == (1.53125, worked.bore_floor_in, 0.0)
    assert not_none(worked.solved.thumb).right == pytest.approx(bored.axis.right)
    away = np.array(bored.axis.inwards)
    told = [away @ bored.axis.long, away @ bored.axis.right]
    assert [RADIUS_IN * x for x in told] == pytest.approx(BORES[name], abs=1e-9)
    assert (hole.bore_in, hole.oval_in, hole.oval_deg) == (0.9375, 0.0625, 30.0)


@pytest.mark.parametrize(("length", "depth"), [(1.875, 1.875), (2.5, 2.5), (3.0, 2.75)])
def test_the_hole_in_an_inner_is_flat_and_ends_with_it_inside_the_bore(length: float, depth: float) -> None:
    plan = replace(planned(), inner=PlannedInner(1.25, length))
    solids = build_solids(plan, work_out(plan).solved)
    hole = solids["thumb"][1]
    assert (hole.depth_in, hole.point_deg) == (depth, 180.0)
    assert [(s.bore_in, s.depth_in) for name in ("middle", "ring") for s in solids[name]] == [
        (0.96875, 0.875),
        (1.0, 1.125),
    ]
    for bare in (replace(plan, inner=None), replace(plan, bore=None)):
        hole = build_solids(bare, work_out(bare).solved)["thumb"][-1]
        assert (hole.depth_in, hole.point_deg) == (2.625, 118.0)
    assert work_out(replace(plan, bore=None)).bore_floor_in is None


@pytest.mark.parametrize(("limit", "count"), [(0.0, 6), (0.0001, 6), (0.002, 2), (0.0005, 3), (5.0, 2)])
def test_an_old_plans_cusp_is_held_to_what_a_table_can_do(limit: float, count: int) -> None:
    # by hand: chords of a 15/16 circle are 2√(r² − (r − cusp)²): 0.0194, 0.0433 and 0.0866 wide, of an oval of 1/16
    plan = replace(planned(), cusp_limit_in=limit)
    cuts = work_out(plan).cuts_of("thumb")
    widest = 2 * math.sqrt(0.46875**2 - (0.46875 - min(max(limit, 0.0001), 0.46875)) ** 2)
    assert len(cuts) == 1 + max(1, math.ceil(0.0625 / widest))
    assert len(work_out(plan).oval.plunges) == len(cuts)


def test_a_coarse_cusp_is_held_to_half_the_bit() -> None:
    # by hand: a cusp of half the bit lets plunges stand a bit apart, so an oval of less than the bit takes two
    plan = planned()
    thumb = replace(THUMB, oval_in=0.9)
    plan = replace(plan, grip=replace(plan.grip, thumb=thumb), cusp_limit_in=9.0)
    assert len(work_out(plan).oval.plunges) == 2


def test_a_thumb_hole_that_no_bit_makes_is_not_among_the_cuts() -> None:
    plan = planned()
    drilled = [cut.hole for cut in work_out(plan).cuts]
    moulded = [cut.hole for cut in work_out(replace(plan, inner_kind="moulded")).cuts]
    assert drilled[0] == "bore" and drilled[-2:] == ["middle", "ring"] and set(drilled[1:-2]) == {"thumb"}
    assert moulded == ["bore", "middle", "ring"]


def test_a_sunk_sleeve_moves_both_ends_of_the_window() -> None:
    # by hand, parallel to its bore: the slug ends as much deeper as the sleeve is sunk at most, the lock at least
    plan = planned(BORES["like the thumb"])
    before = not_none(work_out(plan).window)
    sunk = replace(plan, bore=replace(not_none(plan.bore), sunk_in=(0.0625, 0.125)))
    after = not_none(work_out(sunk).window)
    assert (after.least_in - before.least_in, after.most_in - before.most_in) == pytest.approx((0.125, 0.0625))


def test_what_is_measured_at_the_end_is_the_sleeve_where_there_is_one() -> None:
    worked = work_out(planned())
    assert (worked.edges, worked.has_sleeve) == ("sleeve", True)
    for finger, spans in (("middle", worked.solved.spans["middle"]), ("ring", worked.solved.spans["ring"])):
        assert worked.predicted_in(finger) == spans.sleeve_to_cut_in != spans.cut_in
    plan = planned()
    bare = work_out(replace(plan, grip=replace(plan.grip, sleeve_od_in=None)))
    assert (bare.edges, bare.predicted_in("ring")) == ("cut", bare.solved.spans["ring"].cut_in)


def test_depths_nobody_gave_are_listed_with_their_values() -> None:
    plan = planned()
    assert work_out(plan).depths_nobody_gave == [("ring", 1.125)]
    assumed = replace(plan, bore=replace(not_none(plan.bore), is_depth_assumed=True), assumed_depths=("middle",))
    assert work_out(assumed).depths_nobody_gave == [("bore", 2.625), ("middle", 0.875)]
    assert work_out(replace(plan, bore=None)).depths_nobody_gave == [("thumb", 2.625), ("ring", 1.125)]


def found(of: Drilling) -> dict[str, checks.Check]:
    return {c.what: c for c in checks.run_checks(not_none(of.plan), work_out(not_none(of.plan)))}


def test_a_wall_is_more_than_the_web_that_bounds_it(make: Make) -> None:
    worked = work_out(not_none(make().plan))
    # the thumb's floor and the finger's side: the rounded ends of a web came half an inch too near
    assert worked.walls["thumb_middle"].least_in > not_none(worked.solved.web_thumb_middle_in) + 0.05


def test_depths_nobody_gave_are_marked_wherever_they_are_told(make: Make) -> None:
    of = make(middle_depth="", system={"sleeve_length": "2 3/4"})
    worked = work_out(not_none(of.plan))
    assert worked.depths_nobody_gave == [("bore", 2.75), ("middle", 1.0)]
    told = {(s.action, n.what): n.words for s in of.steps for n in s.numbers if n.kind == "length"}
    assert told["middle_bore", "depth"] == "from the surface, to full diameter; ASSUMED"
    assert told["ring_bore", "depth"] == "from the surface, to full diameter"
    assert told["bore", "depth"].endswith("; ASSUMED")
    assert found(of)["Wall between the finger holes"].reason.endswith("; depth of the middle ASSUMED")
    assert draw_section(not_none(of.plan), worked, "middle").words.endswith("Depth of the bore and the middle ASSUMED.")
    assert draw_section(not_none(of.plan), worked, "ring").words.endswith("Depth of the bore ASSUMED.")


def test_a_thumb_without_hardware_has_a_depth_that_nobody_gave(make: Make) -> None:
    of = make("none")
    assert work_out(not_none(of.plan)).depths_nobody_gave == [("thumb", 2.75)]


def test_a_section_is_drawn_on_the_balls_own_circumference(make: Make) -> None:
    of = make()
    planned = not_none(of.plan)
    plan = replace(planned, grip=replace(planned.grip, circumference_in=26.704))
    drawn = draw_section(plan, work_out(plan), "middle")
    assert drawn.radius_in == pytest.approx(26.704 / (2 * math.pi))
    svg = templates.from_string("{{ show.section_picture(drawn) }}").render(drawn=drawn)
    assert 'class="ball" r="4.2501"' in svg


def test_a_straight_bore_predicts_another_sleeve_to_cut(session: Session, plan: Drilling, who: str) -> None:
    form = {"who": who, "fit_id": str(plan.fit_id), "system_id": str(plan.system_id), "bore_runs": "straight"}
    form |= {"reason": "tried here"}
    other_ball = not_none(session.scalar(select(Ball).where(Ball.label == "Unbored")))
    straight = plans.plan_drilling(session, other_ball, PlanForm.read(form))
    one, other = work_out(not_none(plan.plan)), work_out(not_none(straight.plan))
    assert one.solved.spans["middle"].cut_in == pytest.approx(other.solved.spans["middle"].cut_in, abs=1e-9)
    assert (
        abs(one.predicted_in("middle") - other.predicted_in("middle")) > 0.001
    )  # about R·(asin((p + r)/R) − asin(p/R) − asin(r/R))
    assert (
        not_none(one.wall).least_wall_in > not_none(other.wall).least_wall_in
    )  # the tilted hole nears the inner's side


def test_over_a_sleeve_of_unknown_size_the_cut_span_is_predicted(
    session: Session, by_the_sleeve: Fit, who: str
) -> None:
    vague = other_system(session, who, "unknown")
    worked = work_out(not_none(planned_on(session, by_the_sleeve, who, system_id=str(vague.id)).plan))
    assert worked.edges == "cut"
    assert worked.predicted_in("middle") == worked.solved.spans["middle"].cut_in
