"""Gaps between holes and marks against rims sampled on pyproj's geodesics, and closed forms of holes without pitch."""

import math
from dataclasses import replace
from itertools import product

import numpy as np
import pytest

from app.calculation.cuts import SleeveBore
from app.calculation.grip import Finger, Grip, Thumb
from app.calculation.grip_solver import solve_grip
from app.calculation.layout_conflicts import Clearance, Limits, find_conflicts, measure_clearances
from app.calculation.layouts import LaidOut
from app.calculation.sphere import Vector, along_across_in, place, travel, veer
from tests.calculation.grips import EXAMPLE
from tests.calculation.layouts import laid_out
from tests.calculation.reference import ReferenceHole, Sphere

MIDDLE, RING = Finger(**EXAMPLE["middle"]), Finger(**EXAMPLE["ring"])
GRIP = Grip(27.0, "right", Thumb(**EXAMPLE["thumb"]), MIDDLE, RING, 0.25, sleeve_od_in=1.5)
STRAIGHT = replace(
    GRIP, thumb=Thumb(1.0), middle=replace(MIDDLE, forward_in=0.0), ring=replace(RING, forward_in=0.0, right_in=0.0),
    sleeve_od_in=None,
)  # fmt: skip
LIMITS = Limits(pin_in=0.25, mark_in=0.5, track_in=0.125)
RADIUS = 13.5 / math.pi
CLOSE_IN = 1e-4  # what is promised


def laid_at(pin: Vector, mark: Vector | None = None) -> LaidOut:
    laid = laid_out()
    return replace(laid, pin=pin, mark=mark or laid.mark)


def told(clearances: tuple[Clearance, ...]) -> dict[tuple[str, str], float]:
    return {(c.hole, c.spot): c.gap_in for c in clearances}


def sample(sphere: Sphere, hole: ReferenceHole, size: tuple[float, float, float]) -> np.ndarray:
    rim = [sphere.walked(hole.at, turn / 2, hole.edge(turn / 2, *size)) for turn in range(720)]
    return np.array([sphere.point(*at) for at in rim]) / sphere.radius


def test_gaps_of_a_pitched_grip_are_the_least_of_sampled_rims() -> None:
    solved, sphere, thumb = solve_grip(GRIP), Sphere(27.0), EXAMPLE["thumb"]
    sizes = {
        "thumb": (1.5, 0.0, 0.0), "middle": (0.96875, 0.0, 0.0), "ring": (0.96875, 0.0, 0.0),
    }  # fmt: skip
    pitches = {"thumb": (thumb["forward_in"], 0.0), "middle": (-0.25, 0.0), "ring": (-0.25, -0.125)}
    chance = np.random.default_rng(5)
    laid = laid_out()
    for name, axis in solved.holes.items():
        at = sphere.degrees(*along_across_in(axis.centre, sphere.radius))
        rim = sample(sphere, ReferenceHole(sphere, at, *pitches[name], is_thumb=name == "thumb"), sizes[name])
        off = np.arccos(rim @ np.array(laid.axis)) * sphere.radius
        track = told(measure_clearances(solved, laid, LIMITS, track_in=float(off.max()) + 0.2))
        assert track[name, "track"] == pytest.approx(0.2, abs=CLOSE_IN)
        track = told(measure_clearances(solved, laid, LIMITS, track_in=float(off.min()) - 0.3))
        assert track[name, "track"] == pytest.approx(0.3, abs=CLOSE_IN)
        track = told(measure_clearances(solved, laid, LIMITS, track_in=float(off.min()) + 0.1))
        assert track[name, "track"] == pytest.approx(-0.1, abs=CLOSE_IN)
        for away_in, turn in chance.uniform([0.0, 0.0], [2.5, 2 * math.pi], (20, 2)):
            pin = travel(axis.centre, veer(axis.centre, axis.long, turn), away_in / sphere.radius)
            least = float(np.arccos(np.clip(rim @ np.array(pin), -1, 1)).min()) * sphere.radius
            found = told(measure_clearances(solved, laid_at(pin), LIMITS))[name, "pin"]
            if least > 0.05:  # the reference's own samples are too far apart for less
                assert abs(found) == pytest.approx(least, abs=CLOSE_IN)
                assert (found < 0) == (away_in < 0.5 if name != "thumb" else away_in < 0.75)


def test_a_straight_round_hole_has_the_gap_of_its_angle_on_the_ball() -> None:
    # closed form: a hole of radius r without pitch has its edge asin(r / R) from its centre
    solved = solve_grip(STRAIGHT)
    thumb = solved.require_thumb()
    for along_in, gap in ((0.0, None), (1.5, 1.5), (0.25, 0.25)):
        at = along_across_in(thumb.centre, RADIUS)
        laid = laid_at(place(at[0] - along_in, 0.0, RADIUS))
        found = told(measure_clearances(solved, laid, LIMITS))["thumb", "pin"]
        assert found == pytest.approx((gap or 0.0) - RADIUS * math.asin(0.5 / RADIUS), abs=CLOSE_IN)


def test_an_oval_reaches_further_along_its_sweep() -> None:
    # closed form: half of the oval's width, 1/2 + 1/8 in, is asin of it over R from its centre; across it is half an inch
    solved = solve_grip(replace(STRAIGHT, thumb=Thumb(1.0, oval_in=0.25, oval_deg=90.0)))
    back_in = along_across_in(solved.require_thumb().centre, RADIUS)[0]
    for move, reach in (((0.0, 2.0), 0.625), ((-2.0, 0.0), 0.5)):
        laid = laid_at(place(back_in + move[0], 0.0, RADIUS) if move[0] else aside(solved.require_thumb().centre))
        found = told(measure_clearances(solved, laid, LIMITS))["thumb", "pin"]
        assert found == pytest.approx(2.0 - RADIUS * math.asin(reach / RADIUS), abs=CLOSE_IN)


def aside(centre: Vector) -> Vector:
    """The place 2 in right of a hole's centre."""
    return travel(centre, (1.0, 0.0, 0.0), 2.0 / RADIUS)


def test_a_mark_on_the_back_of_the_ball_lies_in_no_mouth() -> None:
    # closed form: the place opposite a straight hole's centre is half of the ball round away, less its edge
    solved = solve_grip(STRAIGHT)
    c = solved.require_thumb().centre
    found = told(measure_clearances(solved, laid_at((-c[0], -c[1], -c[2])), LIMITS))
    assert found["thumb", "pin"] == pytest.approx(13.5 - RADIUS * math.asin(0.5 / RADIUS), abs=CLOSE_IN)


def test_the_widest_rim_of_a_thumb_hole_counts() -> None:
    solved = solve_grip(STRAIGHT)
    sleeved = solve_grip(replace(STRAIGHT, sleeve_od_in=1.5))
    centre = solved.require_thumb().centre
    laid = laid_at(aside(centre))
    for one, bore, size in (
        (solved, None, 1.0),
        (sleeved, None, 1.5),
        (sleeved, SleeveBore(1.625, 0.0, 0.0, 2.75), 1.625),
    ):
        found = told(measure_clearances(one, laid, LIMITS, bore=bore))["thumb", "pin"]
        assert found == pytest.approx(2.0 - RADIUS * math.asin(size / 2 / RADIUS), abs=CLOSE_IN)


@pytest.mark.parametrize(("forward_in", "right_in"), [(-0.25, 0.375), (0.5, -0.125)])
def test_a_sleeves_bore_leans_the_way_it_is_pitched(forward_in: float, right_in: float) -> None:
    """Source: the rim sampled on pyproj's geodesics; to its two sides the gaps of a side pitch differ."""
    solved, sphere = solve_grip(STRAIGHT), Sphere(27.0)
    centre = solved.require_thumb().centre
    at = sphere.degrees(*along_across_in(centre, sphere.radius))
    rim = sample(sphere, ReferenceHole(sphere, at, forward_in, right_in, is_thumb=True), (1.625, 0.0, 0.0))
    gaps = []
    for turn_deg in (0.0, 90.0, 180.0, 270.0):
        axis = solved.require_thumb()
        pin = travel(centre, veer(centre, axis.long, math.radians(turn_deg)), 2.0 / RADIUS)
        least = float(np.arccos(rim @ np.array(pin)).min()) * RADIUS
        bore = SleeveBore(1.625, forward_in, right_in, 2.75)
        gaps.append(told(measure_clearances(solved, laid_at(pin), LIMITS, bore=bore))["thumb", "pin"])
        assert gaps[-1] == pytest.approx(least, abs=CLOSE_IN)
    assert abs(gaps[1] - gaps[3]) > 10 * CLOSE_IN


def test_only_what_is_nearer_than_its_limit_is_a_conflict_the_worst_first() -> None:
    solved = solve_grip(STRAIGHT)
    thumb, middle = solved.require_thumb().centre, solved.fingers["middle"].centre
    laid = laid_at(middle, aside(thumb))  # pin under a finger hole; the mark 1.499 in from the thumb's rim
    free = told(measure_clearances(solved, laid, LIMITS))["thumb", "mark"]
    for mark_in, holes in ((free - 1e-6, ["middle"]), (free, ["middle"]), (free + 1e-6, ["middle", "thumb"])):
        limits = replace(LIMITS, mark_in=mark_in)
        found = find_conflicts(solved, laid, limits)
        assert [c.hole for c in found] == holes
        assert (found[0].spot, found[0].is_over, found[0].limit_in) == ("pin", True, 0.25)
        assert found[0].gap_in == pytest.approx(-RADIUS * math.asin(0.484375 / RADIUS), abs=CLOSE_IN)
        assert [c.is_over for c in found[1:]] == [False] * (len(holes) - 1)
    assert find_conflicts(solved, laid_at(laid_out().pin), replace(LIMITS, pin_in=0.0, mark_in=0.0)) == ()


def test_a_grip_without_a_thumb_hole_and_without_a_track_has_two_clearances_a_finger() -> None:
    solved = solve_grip(
        replace(
            STRAIGHT, thumb=None, middle=replace(MIDDLE, span_in=2.0), ring=replace(RING, span_in=2.0)
        )
    )  # fmt: skip
    found = measure_clearances(solved, laid_out(), LIMITS)
    assert [(c.hole, c.spot) for c in found] == [(h, s) for h in ("middle", "ring") for s in ("pin", "mark")]


@pytest.mark.parametrize("oval_deg", [0.0, 90.0])
def test_a_mark_near_either_end_of_an_oval_lies_under_it_and_beside_it_not(oval_deg: float) -> None:
    # closed form: along its sweep the oval reaches asin(5/8 in / R), square to it asin(1/2 in / R)
    solved = solve_grip(replace(STRAIGHT, thumb=Thumb(1.0, oval_in=0.25, oval_deg=oval_deg)))
    axis = solved.require_thumb()
    for turn_deg, far_in in product((0.0, 90.0, 180.0, 270.0), (0.6, 0.65)):
        pin = travel(axis.centre, veer(axis.centre, axis.long, math.radians(turn_deg)), far_in / RADIUS)
        gap_in = told(measure_clearances(solved, laid_at(pin), LIMITS))["thumb", "pin"]
        is_along = turn_deg % 180 == oval_deg
        reach_in = RADIUS * math.asin((0.625 if is_along else 0.5) / RADIUS)
        assert gap_in == pytest.approx(far_in - reach_in, abs=CLOSE_IN)


def test_conflicts_are_told_by_their_gaps_and_not_by_what_is_missing_to_a_limit() -> None:
    # the pin 1/16 ahead of the middle hole's rim and the mark 1/8 ahead of the ring's; a wide limit of the mark lacks more
    solved = solve_grip(STRAIGHT)
    rim = math.asin(0.484375 / RADIUS)
    ends = [
        travel(axis.centre, axis.long, rim + off / RADIUS)
        for axis, off in ((solved.fingers["middle"], 1 / 16), (solved.fingers["ring"], 1 / 8))
    ]
    found = find_conflicts(solved, laid_at(*ends), Limits(0.25, 4.0, 0.25))
    gaps = [c.gap_in for c in found]
    assert gaps[:2] == pytest.approx([1 / 16, 1 / 8], abs=CLOSE_IN)
    assert gaps == sorted(gaps)
    assert len({c.limit_in for c in found}) == 2
    assert sorted(found, key=lambda c: c.gap_in - c.limit_in) != list(found)
