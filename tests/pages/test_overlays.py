"""Two grips drawn over each other: what moved is dashed where it was, what did not move is not drawn twice."""

import re
from dataclasses import replace

import pytest

from app.calculation.grip import Finger, Grip, SolvedGrip, Thumb
from app.calculation.grip_solver import solve_grip
from app.closed_sets import Hand
from app.pages import overlays
from tests.calculation.grips import EXAMPLE

pytestmark = pytest.mark.once


def a_grip() -> Grip:
    holes = {
        "thumb": Thumb(**EXAMPLE["thumb"]),
        "middle": Finger(**EXAMPLE["middle"]),
        "ring": Finger(**EXAMPLE["ring"]),
    }
    return Grip(**EXAMPLE | holes)


def kinds(drawn: overlays.Overlay) -> list[str]:
    return sorted(shape.words for shape in drawn.before)


def test_the_same_grip_twice_has_nothing_dashed() -> None:
    solved = solve_grip(a_grip())
    assert overlays.draw_overlay(solved, solve_grip(a_grip())).before == ()
    assert overlays.draw_overlay(solved, solved).radius_in == pytest.approx(solved.radius_in)


def test_a_shorter_ring_span_dashes_the_ring_finger_where_it_was_and_nothing_else() -> None:
    old = a_grip()
    assert old.ring
    new = replace(old, ring=replace(old.ring, span_in=old.ring.span_in - 1 / 32))
    words = kinds(overlays.draw_overlay(solve_grip(old), solve_grip(new)))
    assert words
    assert all(word.startswith("before: ") and "ring" in word for word in words)


@pytest.mark.parametrize("hand", ["right", "left"])
def test_the_frame_holds_every_hole_of_both(hand: Hand) -> None:
    old = replace(a_grip(), hand=hand)
    assert old.middle
    new = replace(old, middle=replace(old.middle, span_in=old.middle.span_in + 1 / 2))
    pair: list[SolvedGrip] = [solve_grip(old), solve_grip(new)]
    left, top, width, height = overlays.draw_overlay(*pair).view
    for shape in [*overlays.draw_overlay(*pair).now, *overlays.draw_overlay(*pair).before]:
        if shape.kind in {"hole", "bore", "sleeve"}:
            numbers = [float(n) for n in re.findall(r"-?\d+\.\d+", shape.path)]
            assert left < min(numbers[::2]) and max(numbers[::2]) < left + width
            assert top < min(numbers[1::2]) and max(numbers[1::2]) < top + height
