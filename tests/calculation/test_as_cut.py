"""Holes cut otherwise than planned against pyproj geodesics with scipy root finding (`reference.py`)."""

from dataclasses import replace

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from app.calculation.as_cut import hold_places
from app.calculation.errors import CannotBuildError
from app.calculation.grip import Grip, SolvedGrip, place_in
from app.calculation.grip_solver import solve_grip
from app.schemas.calc_grips import GripIn
from tests.calculation.grips import EXAMPLE, Json, bodies
from tests.calculation.reference import ReferenceHole, Sphere
from tests.conftest import not_none

AGREES_IN = 1e-7  # three rounds leave a millionth of a move of 1/16 in
# Written in the contract, "API contract": the example grip with its sleeve along the thumb and straight
SLEEVE_TO_CUT = {(-0.25, 0.0): (3.735459, 3.867543), (0.0, 0.0): (3.732890, 3.864974)}
CONTRACT_IN = 1e-6


def grip_of(body: Json) -> Grip:
    return GripIn.model_validate(body).to_grip()


def place_of(sphere: Sphere, solved: SolvedGrip, digit: str) -> tuple[float, float]:
    return sphere.degrees(*place_in(getattr(solved, digit)))


@pytest.mark.parametrize("edges", ["cut", "finished", "sleeve"])
@pytest.mark.parametrize("pitch", SLEEVE_TO_CUT)
def test_a_sleeve_of_another_pitch_has_the_written_spans_whatever_was_asked(
    edges: str, pitch: tuple[float, float]
) -> None:
    asked = grip_of(EXAMPLE)
    solved = solve_grip(asked)
    spans = {
        "cut": (4.0, 4.125),
        "finished": (solved.spans["middle"].finished_in, solved.spans["ring"].finished_in),
        "sleeve": (not_none(solved.spans["middle"].sleeve_to_cut_in), not_none(solved.spans["ring"].sleeve_to_cut_in)),
    }[edges]
    middle, ring = replace(asked.fingers["middle"], span_in=spans[0]), replace(asked.fingers["ring"], span_in=spans[1])
    asked = replace(asked, middle=middle, ring=ring, span_edges=edges)  # type: ignore[arg-type]
    met = solve_grip(hold_places(solve_grip(asked), replace(asked, sleeve_pitch_in=pitch), is_thumb_held=True))
    told = (met.spans["middle"].sleeve_to_cut_in, met.spans["ring"].sleeve_to_cut_in)
    assert told == pytest.approx(SLEEVE_TO_CUT[pitch], abs=CONTRACT_IN)
    assert (met.spans["middle"].cut_in, met.spans["ring"].cut_in) == pytest.approx((4.0, 4.125), abs=1e-9)


@given(bodies(), st.sampled_from(("middle", "ring")), st.floats(-1 / 16, 1 / 16), st.floats(-0.25, 0.25))
def test_a_finger_of_another_bit_and_pitch_keeps_its_near_edge(
    body: Json, digit: str, wider: float, right: float
) -> None:
    asked = grip_of(body)
    finger = getattr(asked, digit)
    cut = replace(asked, **{digit: replace(finger, cut_in=finger.cut_in + wider, right_in=finger.right_in + right)})
    try:
        before = solve_grip(asked)
        held = hold_places(before, cut, is_thumb_held=False)
        after = solve_grip(held)
    except CannotBuildError:
        return
    sphere = Sphere(asked.circumference_in)
    thumb, place = place_of(sphere, before, "thumb"), place_of(sphere, before, digit)
    towards, _ = sphere.arc(place, thumb)
    planned = ReferenceHole(sphere, place, finger.forward_in, finger.right_in, False)
    near = sphere.walked(place, towards, planned.edge(towards, finger.cut_in))
    # its own new place, by the reference: where this bit's edge towards the thumb is that of the plan
    back = 0.0
    for _ in range(6):
        moved = sphere.walked(place, towards, back)
        hole = ReferenceHole(sphere, moved, finger.forward_in, finger.right_in + right, False)
        azimuth, _ = sphere.arc(moved, thumb)
        edge = sphere.walked(moved, azimuth, hole.edge(azimuth, finger.cut_in + wider))
        back += sphere.arc(edge, thumb)[1] - sphere.arc(near, thumb)[1]
    other = "ring" if digit == "middle" else "middle"
    beside = getattr(asked, other)
    fixed = ReferenceHole(sphere, place_of(sphere, before, other), beside.forward_in, beside.right_in, False)
    there, between = sphere.arc(moved, fixed.at)
    here, _ = sphere.arc(fixed.at, moved)
    bridge = between - hole.edge(there, finger.cut_in + wider) - fixed.edge(here, beside.cut_in)
    assert after.bridge_cut_in == pytest.approx(bridge, abs=AGREES_IN)
    spans = {
        "middle": (before.spans["middle"], after.spans["middle"]),
        "ring": (before.spans["ring"], after.spans["ring"]),
    }
    for old, new in spans.values():  # the edges that face the thumb stay
        assert new.cut_in == pytest.approx(old.cut_in, abs=AGREES_IN)


@pytest.mark.parametrize("is_held", [True, False])
@example(body=EXAMPLE, wider=0.0, forward=0.0, aside=0.25)  # another pitch to the side alone
@given(body=bodies(), wider=st.floats(-1 / 16, 1 / 16), forward=st.floats(-0.25, 0.25), aside=st.floats(-0.25, 0.25))
def test_a_thumb_of_another_bit_keeps_its_centre_in_a_bore_and_else_its_near_edge(
    is_held: bool, body: Json, wider: float, forward: float, aside: float
) -> None:
    """A held centre leaves the sleeve where it is; the cut spans change by the thumb's own edge."""
    asked = grip_of(body)
    size, pitch = asked.require_thumb().hole_in + wider, asked.require_thumb().forward_in + forward
    right = asked.require_thumb().right_in + aside
    pinned = replace(asked, sleeve_pitch_in=(asked.require_thumb().forward_in, asked.require_thumb().right_in))
    try:
        before = solve_grip(pinned)
        cut = replace(pinned, thumb=replace(asked.require_thumb(), hole_in=size, forward_in=pitch, right_in=right))
        after = solve_grip(hold_places(before, cut, is_thumb_held=is_held))
    except CannotBuildError:
        return
    sphere = Sphere(asked.circumference_in)
    thumb = place_of(sphere, before, "thumb")
    planned = ReferenceHole(sphere, thumb, asked.require_thumb().forward_in, asked.require_thumb().right_in, True)
    oval = (asked.require_thumb().oval_in, asked.require_thumb().oval_deg)
    if is_held:
        for name in ("middle", "ring"):
            old, new = getattr(before, f"{name}_spans"), getattr(after, f"{name}_spans")
            assert new.sleeve_to_cut_in == pytest.approx(old.sleeve_to_cut_in, abs=AGREES_IN)
            place = place_of(sphere, before, name)
            azimuth, _ = sphere.arc(thumb, place)
            met = ReferenceHole(sphere, thumb, pitch, right, True)
            gain = planned.edge(azimuth, asked.require_thumb().hole_in, *oval) - met.edge(azimuth, size, *oval)
            assert new.cut_in - old.cut_in == pytest.approx(gain, abs=AGREES_IN)
        return
    # its new place on the centre line, by the reference: where its own near edge is that of the plan
    near, along = (
        place_in(before.holes["thumb"])[0] + planned.edge(90.0, asked.require_thumb().hole_in, *oval),
        place_in(before.holes["thumb"])[0],
    )
    for _ in range(6):
        met = ReferenceHole(sphere, sphere.degrees(along, 0.0), pitch, right, True)
        along = near - met.edge(90.0, size, *oval)
    for name in ("middle", "ring"):
        finger = getattr(asked, name)
        hole = ReferenceHole(sphere, place_of(sphere, before, name), finger.forward_in, finger.right_in, False)
        azimuth, distance = sphere.arc(met.at, hole.at)
        back, _ = sphere.arc(hole.at, met.at)
        span = distance - met.edge(azimuth, size, *oval) - hole.edge(back, finger.cut_in)
        assert getattr(after, f"{name}_spans").cut_in == pytest.approx(span, abs=AGREES_IN)


def test_nothing_met_changes_nothing() -> None:
    solved = solve_grip(grip_of(EXAMPLE))
    again = solve_grip(hold_places(solved, solved.grip, is_thumb_held=False))
    for digit in ("thumb", "middle", "ring"):
        assert place_in(getattr(again, digit)) == pytest.approx(place_in(getattr(solved, digit)), abs=1e-9)
