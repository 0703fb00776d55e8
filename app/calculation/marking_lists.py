"""How a driller finds the grip centre on a ball that shows pin and mass mark: each arc and each swing in order.

A swing is in degrees clockwise seen from outside the ball, negative anticlockwise, off a line that can be drawn by
then. Two check arcs use none of it: grip centre to pin, and grip centre to mass mark. What an error of the hand does to
them is told for each step.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Literal

from app.calculation.layouts import LaidOut, side_of
from app.calculation.sphere import Vector, arc_angle, combine, cross, dot, heading, travel, veer

Spot = Literal["pin", "axis", "foot", "grip"]
Line = Literal["mark", "pin", "upper half", "lower half", "foot"]
Found = Literal["axis", "axis line", "foot", "grip", "centre line"]

ARC_ERROR_IN = 1 / 16
SWING_ERROR_DEG = 2.0
_POLE = 0.9  # nearer to the fingers' pole than this, directions are told from another one


@dataclass(frozen=True, slots=True)
class MarkingStep:
    """One move on the ball: stand `at` a spot, swing off a `line` from there, and measure along what was swung.

    A line is named by the spot it runs to, or by which half of the axis line it is; `foot` is where axis line and
    midline cross. `swing_deg` is None where the arc runs along the line itself; `arc_in` is None where a line is drawn
    and nothing is measured, else 0 or more, inches. `finds` is the spot at its end or the line that is drawn.
    """

    at: Spot
    line: Line
    swing_deg: float | None
    arc_in: float | None
    finds: Found


@dataclass(frozen=True, slots=True)
class Change:
    """By how much the two check arcs change, inches, 0 or more: the larger change of an error either way."""

    grip_pin_in: float
    grip_mark_in: float


@dataclass(frozen=True, slots=True)
class StepErrors:
    """What `ARC_ERROR_IN` along a step's arc, and `SWING_ERROR_DEG` of its swing, change; None where it has none."""

    arc: Change | None
    swing: Change | None


@dataclass(frozen=True, slots=True)
class MarkingList:
    """The steps, the two check arcs in inches, and what errors of the steps, in their order, do to the check arcs.

    `root_sum` is the root of the sum of the squared changes, what independent errors come to; `worst` their sum.
    """

    steps: tuple[MarkingStep, ...]
    grip_pin_in: float
    grip_mark_in: float
    errors: tuple[StepErrors, ...]

    @property
    def root_sum(self) -> Change:
        """What all errors together change if each is as likely either way."""
        return self._gather(lambda changes: math.hypot(*changes))

    @property
    def worst(self) -> Change:
        """What all errors together change at most."""
        return self._gather(math.fsum)

    def _gather(self, gather: Callable[[list[float]], float]) -> Change:
        changes = [change for step in self.errors for change in (step.arc, step.swing) if change]
        return Change(gather([c.grip_pin_in for c in changes]), gather([c.grip_mark_in for c in changes]))


def list_marks(laid: LaidOut) -> MarkingList:
    """Returns the marking list of a layout that was worked out.

    From the pin, off the line to the mass mark, to the axis point; there off the line back to the pin to the axis line;
    along it to the midline; square off it to the grip centre, and square off the midline to the centre line. Source:
    derived; the steps walked by pyproj's geodesics end at the grip centre.
    """
    steps = _list_steps(laid)
    arcs = laid.arcs
    errors = tuple(_find_errors(laid, steps, i) for i in range(len(steps)))
    return MarkingList(steps, arcs["grip_pin_in"], arcs["grip_mark_in"], errors)


def find_spot_doubt_in(laid: LaidOut, spot: Vector) -> float:
    """Returns how far off a spot of the ball comes to lie from the grip that is marked, inches, in the worst direction.

    `spot` is a unit vector in the frame of the layout's grip. The errors of the steps are independent, each a standard
    uncertainty; grip centre and centre line are off by them together. Source: JCGM 100:2008, 5.1.2 and H.2.
    """
    steps = _list_steps(laid)
    along_across = 0.0
    squares = [0.0, 0.0]
    for i, step in enumerate(steps):
        for field, error in (("arc_in", ARC_ERROR_IN), ("swing_deg", SWING_ERROR_DEG)):
            if not _has(step, field):
                continue
            ends = [_place_from(laid, _change(steps, i, field, way * error), spot) for way in (1, -1)]
            x, y = ((laid.radius_in * (a - b) / 2) for a, b in zip(*ends, strict=True))
            squares[0] += x * x
            squares[1] += y * y
            along_across += x * y
    mean, apart = sum(squares) / 2, (squares[0] - squares[1]) / 2
    return math.sqrt(mean + math.hypot(apart, along_across))


def _has(step: MarkingStep, field: str) -> bool:
    """Whether a step has such an error; an arc of nothing is not measured."""
    value = getattr(step, field)
    return bool(value) if field == "arc_in" else value is not None


def _change(steps: tuple[MarkingStep, ...], i: int, field: str, by: float) -> tuple[MarkingStep, ...]:
    return (*steps[:i], replace(steps[i], **{field: getattr(steps[i], field) + by}), *steps[i + 1 :])


def _place_from(laid: LaidOut, steps: tuple[MarkingStep, ...], spot: Vector) -> tuple[float, float]:
    """How far along and across a spot comes to lie of where it should, radians, from the grip that the steps mark."""
    grip, up = _walk(laid, steps)
    right = cross(up, grip)
    there = dot(spot, right), dot(spot, up), dot(spot, grip)
    forward = heading(spot, (0.0, 1.0, 0.0) if abs(spot[1]) < _POLE else (1.0, 0.0, 0.0))
    return dot(there, forward), dot(there, cross(spot, forward))


def _list_steps(laid: LaidOut) -> tuple[MarkingStep, ...]:
    point, layout, side = laid.axis_point, laid.layout, side_of(laid.hand)
    down: Line = "lower half" if point.up_in >= 0 else "upper half"
    square_deg = -side * math.copysign(90.0, point.over_in)
    return (
        MarkingStep("pin", "mark", -side * layout.drilling_deg, layout.pin_axis_in, "axis"),
        MarkingStep("axis", "pin", side * layout.axis_line_deg, None, "axis line"),
        MarkingStep("axis", down, None, abs(point.up_in), "foot"),
        MarkingStep("foot", "upper half", square_deg, abs(point.over_in), "grip"),
        MarkingStep("grip", "foot", square_deg, None, "centre line"),
    )


def _find_errors(laid: LaidOut, steps: tuple[MarkingStep, ...], i: int) -> StepErrors:
    def find_change(field: str, error: float) -> Change | None:
        if not _has(steps[i], field):
            return None
        found = [_walk(laid, _change(steps, i, field, way * error))[0] for way in (1, -1)]
        return Change(
            max(abs(laid.radius_in * arc_angle(grip, laid.pin) - laid.arcs["grip_pin_in"]) for grip in found),
            max(abs(laid.radius_in * arc_angle(grip, laid.mark) - laid.arcs["grip_mark_in"]) for grip in found),
        )

    return StepErrors(find_change("arc_in", ARC_ERROR_IN), find_change("swing_deg", SWING_ERROR_DEG))


def _walk(laid: LaidOut, steps: tuple[MarkingStep, ...]) -> tuple[Vector, Vector]:
    """The grip centre to which the steps lead from pin and mass mark, and the way to the fingers there."""
    here, back = laid.pin, heading(laid.pin, laid.mark)
    upper = back
    for step in steps:
        line = {"upper half": upper, "lower half": combine(-1.0, upper, 0.0, upper)}.get(step.line, back)
        way = veer(here, line, math.radians(step.swing_deg or 0.0))
        if step.arc_in is None:
            upper = way
            continue
        angle = step.arc_in / laid.radius_in
        there = travel(here, way, angle)
        back = combine(math.sin(angle), here, -math.cos(angle), way)
        if step.finds == "foot":
            upper = back if step.line == "lower half" else combine(-1.0, back, 0.0, back)
        here = there
    return here, way
