"""What the page of a layout says: its one answer, and its steps in words."""

from dataclasses import replace
from fractions import Fraction

import pytest

from app.calculation.layout_conflicts import Clearance
from app.calculation.layout_strips import lay_layout_strips
from app.models import AxisPoint, BallMarks
from app.pages.layout_views import (
    answer_layout,
    draw_worked,
    list_arcs,
    list_conflicts,
    list_steps,
)
from app.services.layout_work_outs import describe_clearance, work_out_layout
from tests.services.test_layout_work_outs import NUMBERS, marks, on

MEASURED = marks(pin_mark="27/4")


@pytest.mark.parametrize(
    ("case", "kind"),
    [
        (on(MEASURED, track="2"), "good"),
        (on(MEASURED), "doubt"),  # the track was not measured
        (replace(on(MEASURED, track="2"), stale=("axis point taken back (mistyped)",)), "doubt"),
        (on(), "doubt"),  # the arc of the mass mark is taken as a quarter of the ball
        (replace(on(MEASURED), doubts=("the ball’s circumference is ASSUMED",)), "doubt"),
        (on(MEASURED, track="33/8"), "bad"),
        (on(MEASURED, has_grip=False), ""),
    ],
)
def test_no_answer_is_green_over_what_nobody_knows(case: object, kind: str) -> None:
    assert answer_layout(work_out_layout(NUMBERS, case), case).kind == kind  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("clearance", "words"),
    [
        (Clearance("ring", "pin", 3 / 16, 0.25), "ring hole 3/16 from the pin, at least 1/4"),
        (Clearance("ring", "pin", 9 / 16 - 0.007, 0.25), "ring hole 9/16 from the pin, at least 1/4"),
        (Clearance("ring", "mark", 0.24, 0.25), "ring hole just under 1/4 from the mass mark, at least 1/4"),
        (Clearance("ring", "pin", 0.33, 21 / 64), "ring hole 21/64 from the pin, at least 21/64"),
        (Clearance("ring", "pin", 0.01, 0.25), "ring hole under 1/32 from the pin, at least 1/4"),
        (Clearance("ring", "pin", -0.2, 0.25), "ring hole over the pin"),
        (Clearance("thumb", "track", -0.2, 0.25), "thumb hole crossed by the track"),
    ],
)
def test_a_clearance_names_hole_spot_gap_and_limit(clearance: Clearance, words: str) -> None:
    assert describe_clearance(clearance) == words


@pytest.mark.parametrize(
    ("of", "name", "is_measured"),
    [
        (None, "assumed mass mark", False),
        (marks(pin_mark="27/4"), "mass mark", True),
        (marks(), "mass mark", False),
        (marks(has_mass_mark=False, pin_centre="5/2"), "centre-of-gravity mark", True),
        (marks(has_mass_mark=False), "centre-of-gravity mark", False),
    ],
)
def test_every_word_names_the_mark_that_is_really_used(of: BallMarks | None, name: str, is_measured: bool) -> None:
    worked = work_out_layout(NUMBERS, on(of, track="33/8"))
    assert (worked.mark_name, worked.is_mark_arc_measured) == (name, is_measured)
    arcs = [arc.words.lower() for arc in list_arcs(worked)]
    assert {f"pin to {name}", f"{name} to axis point", f"grip centre to {name}"} <= set(arcs)
    assert list_steps(worked)[0].do.startswith(f"At the pin, from the line to the {name}:")
    strips = lay_layout_strips(worked.laid, worked.mark_name)
    assert [strip.end for strip in strips if "mark" in strip.end] == [name, name]
    spots = {shape.words for shape in draw_worked(worked, on(of)).shapes if shape.kind == "mass-mark"}
    assert spots == {name}
    said = [*arcs, *(step.do for step in list_steps(worked)), *worked.doubts, *list_conflicts(worked)]
    assert name == "mass mark" or not any("the mass mark" in words for words in said)


def test_each_step_says_what_it_finds_and_an_axis_point_below_the_midline_goes_up_to_it() -> None:
    steps = list_steps(work_out_layout(NUMBERS, on()))
    assert [step.swing for step in steps] == ["40° anticlockwise", "35° clockwise", "", "square", "square"]
    assert [step.arc_in for step in steps] == [4.0, None, 0.5, 4.5, None]
    assert "down" in steps[2].do and "to the left" in steps[3].do
    below = AxisPoint(hand="right", over_in=Fraction(9, 2), up_in=Fraction(-1, 2), track_in=None)
    assert "up from the axis point" in list_steps(work_out_layout(NUMBERS, replace(on(), point=below)))[2].do
    level = AxisPoint(hand="right", over_in=Fraction(9, 2), up_in=Fraction(0), track_in=None)
    assert "lies on the midline" in list_steps(work_out_layout(NUMBERS, replace(on(), point=level)))[2].do
