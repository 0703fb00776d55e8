"""Marking lists walked on the ball by pyproj's geodesics, with and without errors of the hand."""

import math
import random
from dataclasses import replace
from itertools import product

import numpy as np
import pytest

from app.calculation.grip import Hand
from app.calculation.layouts import AxisPoint, LaidOut, solve_layout
from app.calculation.marking_lists import (
    ARC_ERROR_IN,
    SWING_ERROR_DEG,
    Change,
    MarkingStep,
    find_spot_doubt_in,
    list_marks,
)
from app.calculation.sphere import place
from tests.calculation.layouts import HANDS, POINT, Globe, LonLat, laid_out, random_layouts
from tests.conftest import not_none


def walk(laid: LaidOut, steps: tuple[MarkingStep, ...]) -> tuple[dict[str, LonLat], float]:
    """The spots that a driller comes to from pin and mass mark, and the azimuth of the last line that is drawn."""
    globe = Globe(laid.circumference_in)
    spots = {"pin": globe.find(laid.pin), "mark": globe.find(laid.mark)}
    azimuth = upper = math.nan
    for step in steps:
        here = spots[step.at]
        halves = {"upper half": upper, "lower half": upper + 180}
        line = halves[step.line] if step.line in halves else globe.azimuth(here, spots[step.line])
        azimuth = line + (step.swing_deg or 0.0)
        if step.finds == "axis line":
            upper = azimuth
        elif step.arc_in is not None:
            spots[step.finds] = globe.walk(here, azimuth, step.arc_in)
            if step.finds == "foot" and step.arc_in:
                back = globe.azimuth(spots["foot"], here)
                upper = back if step.line == "lower half" else back + 180
    return spots, azimuth


def test_the_steps_lead_from_pin_and_mark_to_the_grip_centre_and_its_centre_line() -> None:
    for circumference_in, hand, point, layout in random_layouts(seed=3, count=200):
        laid = solve_layout(circumference_in, hand, point, layout)
        spots, azimuth = walk(laid, list_marks(laid).steps)
        assert spots["axis"] == pytest.approx(Globe().find(laid.axis), abs=1e-6)
        assert spots["grip"] == pytest.approx((0.0, 0.0), abs=1e-6)
        assert math.remainder(azimuth, 360) == pytest.approx(0.0, abs=1e-6)  # north: towards the fingers


@pytest.mark.parametrize(("hand", "side"), [("right", 1), ("left", -1)])
def test_the_contracts_layout_is_marked_in_five_steps(hand: Hand, side: int) -> None:
    # by hand: for a right hand the drilling angle is swung back anticlockwise and the axis-line angle clockwise; the
    # midline leaves the axis line to the left, and at the grip centre the fingers are to the left of the axis point
    expected = [
        ("pin", "mark", -40.0 * side, 4.0, "axis"),
        ("axis", "pin", 35.0 * side, None, "axis line"),
        ("axis", "lower half", None, 0.5, "foot"),
        ("foot", "upper half", -90.0 * side, 4.5, "grip"),
        ("grip", "foot", -90.0 * side, None, "centre line"),
    ]
    found = list_marks(laid_out(hand))
    assert [(s.at, s.line, s.swing_deg, s.arc_in, s.finds) for s in found.steps] == expected
    assert (found.grip_pin_in, found.grip_mark_in) == pytest.approx((3.670435, 4.106627), abs=6e-7)  # the contract's


@pytest.mark.parametrize(
    "point", [POINT, AxisPoint(4.5, -0.75), AxisPoint(5.25, 0.0), AxisPoint(-4.0, 0.5), AxisPoint(-4.0, -0.5)]
)
@pytest.mark.parametrize("hand", HANDS)
def test_what_an_error_changes_is_what_the_walk_with_that_error_finds(hand: Hand, point: AxisPoint) -> None:
    laid = laid_out(hand, point)
    found, globe = list_marks(laid), Globe()

    def find_change(i: int, wrong: MarkingStep) -> Change:
        spots = walk(laid, (*found.steps[:i], wrong, *found.steps[i + 1 :]))[0]
        off = [globe.arc_in(spots["grip"], spots[name]) for name in ("pin", "mark")]
        return Change(abs(off[0] - found.grip_pin_in), abs(off[1] - found.grip_mark_in))

    def find_larger(i: int, one: MarkingStep, other: MarkingStep) -> tuple[float, float]:
        a, b = find_change(i, one), find_change(i, other)
        return max(a.grip_pin_in, b.grip_pin_in), max(a.grip_mark_in, b.grip_mark_in)

    assert (ARC_ERROR_IN, SWING_ERROR_DEG) == (0.0625, 2.0)
    gathered = []
    for i, (step, errors) in enumerate(zip(found.steps, found.errors, strict=True)):
        assert (errors.arc is None, errors.swing is None) == (not step.arc_in, step.swing_deg is None)
        if step.arc_in:
            larger = find_larger(i, *(replace(step, arc_in=step.arc_in + way / 16) for way in (1, -1)))
            gathered.append(larger)
            told = not_none(errors.arc)
            assert (told.grip_pin_in, told.grip_mark_in) == pytest.approx(larger, abs=1e-7)
        if step.swing_deg is not None:
            larger = find_larger(i, *(replace(step, swing_deg=step.swing_deg + 2 * way) for way in (1, -1)))
            gathered.append(larger)
            told = not_none(errors.swing)
            assert (told.grip_pin_in, told.grip_mark_in) == pytest.approx(larger, abs=1e-7)
    for k, name in enumerate(("grip_pin_in", "grip_mark_in")):
        column = [pair[k] for pair in gathered]
        assert getattr(found.worst, name) == pytest.approx(sum(column), abs=1e-6)
        assert getattr(found.root_sum, name) == pytest.approx(math.sqrt(sum(c * c for c in column)), abs=1e-6)


def test_no_mix_of_small_errors_goes_much_beyond_the_worst() -> None:
    # all errors at once, either way: the sum is of first order, so a mix may pass it by what is of second order
    laid, globe = laid_out(), Globe()
    found = list_marks(laid)
    worst, beyond = found.worst, 0.0
    for signs in product((1, -1), repeat=6):
        s = found.steps
        wrong = (
            replace(s[0], swing_deg=-40 + 2 * signs[0], arc_in=4 + signs[1] / 16),
            replace(s[1], swing_deg=35 + 2 * signs[2]),
            replace(s[2], arc_in=0.5 + signs[3] / 16),
            replace(s[3], swing_deg=-90 + 2 * signs[4], arc_in=4.5 + signs[5] / 16),
        )
        spots = walk(laid, wrong)[0]
        beyond = max(beyond, abs(globe.arc_in(spots["grip"], spots["pin"]) - found.grip_pin_in))
    assert beyond == pytest.approx(worst.grip_pin_in, rel=0.15)


@pytest.mark.parametrize("at", [(-3.685229, 2.108438), (0.0, 0.0), (0.5, -1.5), (3.0, 3.0), (6.75, 0.0)])
@pytest.mark.parametrize("hand", HANDS)
def test_how_far_off_a_spot_lies_is_the_spread_of_grips_marked_with_all_errors(
    hand: Hand, at: tuple[float, float]
) -> None:
    """A simulation, seed 8: 1,500 grips walked by pyproj's geodesics, each step with its errors; the worst direction."""
    laid, globe, pick, draws = laid_out(hand), Globe(), random.Random(8), 1500
    spot = place(*at, laid.radius_in)
    there, steps, found = globe.find(spot), list_marks(laid).steps, []
    for _ in range(draws):
        wrong = tuple(
            replace(
                step,
                arc_in=step.arc_in and step.arc_in + pick.gauss(0, ARC_ERROR_IN),
                swing_deg=None if step.swing_deg is None else step.swing_deg + pick.gauss(0, SWING_ERROR_DEG),
            )
            for step in steps
        )
        spots, azimuth = walk(laid, wrong)
        far = globe.arc_in(spots["grip"], there) / laid.radius_in
        turn = math.radians(globe.azimuth(spots["grip"], there) - azimuth)
        found.append((math.sin(far) * math.sin(turn), math.sin(far) * math.cos(turn), math.cos(far)))
    apart_in = laid.radius_in * (np.array(found) - np.array(spot))
    worst_in = math.sqrt(np.linalg.eigvalsh(apart_in.T @ apart_in / draws)[-1])
    assert find_spot_doubt_in(laid, spot) == pytest.approx(worst_in, rel=0.06)


def test_a_spot_at_the_fingers_pole_has_the_doubt_of_its_neighbours() -> None:
    laid = laid_out()
    beside = find_spot_doubt_in(laid, place(6.7, 0.05, laid.radius_in))
    assert find_spot_doubt_in(laid, (0.0, 1.0, 0.0)) == pytest.approx(beside, rel=0.02)
