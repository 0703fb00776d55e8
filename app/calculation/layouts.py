"""A layout: where pin and mass mark lie in the frame of the grip, from three numbers, and the way back.

The axis point is the bowler's, over along the midline and up along the axis line, which is the great circle through
the axis point square to the midline. Seen from outside the ball with the fingers up, for a right hand: the axis point
lies right of the grip centre; the axis-line angle is swung at the axis point, anticlockwise from the upper half of the
axis line to the pin, on the grip centre's side; the drilling angle is swung at the pin, clockwise from the line back to
the axis point to the mass mark, towards the lower end of the axis line and on to the grip. A left hand is the mirror
image. An angle swung the other way is negative.
"""

import math
from dataclasses import dataclass

from app.calculation.errors import CannotBuildError
from app.calculation.grip import GRIP_CENTRE, Hand
from app.calculation.sphere import Vector, along_across_in, arc_angle, cross, dot, frame, heading, travel, veer

SAME_PLACE = 1e-6  # radians: nearer than this to a point, or to the one opposite, no direction to it is told


@dataclass(frozen=True, slots=True)
class AxisPoint:
    """A bowler's axis point, inches of arc: `over_in` along the midline, then `up_in` along the axis line.

    `over_in` is positive on the hand's own side of the centre line (right for a right hand), less than half of the ball
    round either way; `up_in` is positive towards the fingers, less than a quarter of the ball round either way.
    """

    over_in: float
    up_in: float

    @property
    def is_on_own_side(self) -> bool:
        """Whether it lies on its hand's own side of the centre line, as nearly every axis point does."""
        return self.over_in > 0


@dataclass(frozen=True, slots=True)
class Layout:
    """Three numbers that say where pin and mass mark go; signs as in the module.

    `pin_axis_in` is the arc from the pin to the axis point, inches, more than 0 and less than half of the ball round.
    `axis_line_deg` and `drilling_deg` are degrees in −180..180.
    `pin_mark_in` is the arc from the pin to the mass mark; None stands for a quarter of the ball round.
    """

    pin_axis_in: float
    axis_line_deg: float
    drilling_deg: float
    pin_mark_in: float | None = None


@dataclass(frozen=True, slots=True)
class LaidOut:
    """A layout worked out: unit vectors of its three places in the frame of the grip, which is `sphere`'s."""

    circumference_in: float
    hand: Hand
    axis_point: AxisPoint
    layout: Layout
    axis: Vector
    pin: Vector
    mark: Vector

    @property
    def radius_in(self) -> float:
        """The radius of the ball."""
        return radius_of(self.circumference_in)

    @property
    def pin_mark_in(self) -> float:
        """The arc from the pin to the mass mark, inches."""
        return self.layout.pin_mark_in or self.circumference_in / 4

    @property
    def foot(self) -> Vector:
        """Where the axis line crosses the midline, `over_in` from the grip centre."""
        return find_axis(self.circumference_in, self.hand, AxisPoint(self.axis_point.over_in, 0.0))

    @property
    def places(self) -> dict[str, tuple[float, float]]:
        """(along, across) in inches of arc from the grip centre of `axis`, `pin` and `mark`."""
        places = {"axis": self.axis, "pin": self.pin, "mark": self.mark}
        return {name: along_across_in(at, self.radius_in) for name, at in places.items()}

    @property
    def arcs(self) -> dict[str, float]:
        """Arcs in inches by name: what a driller may measure between the places, the grip centre and the axis line.

        `pin_axis_line_in` is the least arc from the pin to the axis line's great circle, negative where the pin lies on
        the side away from the grip centre.
        """
        ends = {
            "mark_axis_in": (self.mark, self.axis),
            "grip_axis_in": (GRIP_CENTRE, self.axis),
            "grip_pin_in": (GRIP_CENTRE, self.pin),
            "grip_mark_in": (GRIP_CENTRE, self.mark),
        }
        aside = -side_of(self.hand) * dot(self.pin, frame(self.axis)[1])
        off = math.asin(max(-1.0, min(1.0, aside)))
        return {"pin_axis_line_in": off * self.radius_in} | {
            name: self.radius_in * arc_angle(*pair) for name, pair in ends.items()
        }


def radius_of(circumference_in: float) -> float:
    """The radius of a ball, inches."""
    return circumference_in / (2 * math.pi)


def side_of(hand: Hand) -> int:
    """1 where the hand's own side is the right one, −1 where it is the left one."""
    return 1 if hand == "right" else -1


def find_axis(circumference_in: float, hand: Hand, point: AxisPoint) -> Vector:
    """Returns the unit vector of an axis point.

    Raises CannotBuildError naming `over_in` or `up_in` where that is no place with an axis line, or not on the ball.
    Source: the frame's own definition (±sin over·cos up, sin up, cos over·cos up).
    """
    half = circumference_in / 2
    if not abs(point.over_in) < half:
        raise CannotBuildError("over_in", "that is half way round the ball or more")
    if not abs(point.up_in) < half / 2 - SAME_PLACE * circumference_in:
        raise CannotBuildError("up_in", "so far from the midline there is no axis line: less than a quarter round")
    over, up = (2 * math.pi * arc_in / circumference_in for arc_in in (point.over_in, point.up_in))
    return (side_of(hand) * math.sin(over) * math.cos(up), math.sin(up), math.cos(over) * math.cos(up))


def solve_layout(circumference_in: float, hand: Hand, axis_point: AxisPoint, layout: Layout) -> LaidOut:
    """Returns where pin and mass mark lie, for a ball of a circumference (inches) and a bowler's axis point.

    Raises CannotBuildError naming the field of an arc or angle that puts things nowhere: a pin on the axis point or
    opposite it, a mass mark on the pin or opposite it, an angle of more than half a turn. Source: spherical
    trigonometry; checked against pyproj's geodesics on a sphere.
    """
    axis = find_axis(circumference_in, hand, axis_point)
    radius_in, side = radius_of(circumference_in), side_of(hand)
    quarter_in = circumference_in / 4
    pin_mark_in = quarter_in if layout.pin_mark_in is None else layout.pin_mark_in
    _check_arc("pin_axis_in", layout.pin_axis_in / radius_in, "the pin", "the axis point")
    _check_arc("pin_mark_in", pin_mark_in / radius_in, "the mass mark", "the pin")
    for field, angle_deg in (("axis_line_deg", layout.axis_line_deg), ("drilling_deg", layout.drilling_deg)):
        if not abs(angle_deg) <= 180:
            raise CannotBuildError(field, "an angle is half a turn at most")
    to_pin = veer(axis, frame(axis)[0], -side * math.radians(layout.axis_line_deg))
    pin = travel(axis, to_pin, layout.pin_axis_in / radius_in)
    to_mark = veer(pin, heading(pin, axis), side * math.radians(layout.drilling_deg))
    mark = travel(pin, to_mark, pin_mark_in / radius_in)
    return LaidOut(circumference_in, hand, axis_point, layout, axis, pin, mark)


def _check_arc(field: str, angle: float, one: str, other: str) -> None:
    """Raises CannotBuildError unless an arc (radians) leads to a place from which its start lies in one direction."""
    if not angle >= SAME_PLACE:
        raise CannotBuildError(field, f"{one} would lie on {other}: no direction leads from one to the other")
    if not angle <= math.pi - SAME_PLACE:
        raise CannotBuildError(field, f"{one} would lie opposite {other} or further: less than half of the ball round")


def read_layout(circumference_in: float, hand: Hand, axis_point: AxisPoint, pin: Vector, mark: Vector) -> Layout:
    """Returns the layout of a ball whose pin and mass mark (unit vectors in the grip's frame) are known.

    The inverse of `solve_layout`: angles in −180..180 degrees, `pin_mark_in` as it lies. Raises CannotBuildError naming
    `pin` or `mark` where that lies on the axis point or pin it is seen from, or opposite.
    """
    axis = find_axis(circumference_in, hand, axis_point)
    radius_in, side = radius_of(circumference_in), side_of(hand)
    pin_axis, pin_mark = arc_angle(pin, axis), arc_angle(pin, mark)
    _check_arc("pin", pin_axis, "the pin", "the axis point")
    _check_arc("mark", pin_mark, "the mass mark", "the pin")
    return Layout(
        pin_axis * radius_in,
        -side * math.degrees(turn_between(axis, frame(axis)[0], heading(axis, pin))),
        side * math.degrees(turn_between(pin, heading(pin, axis), heading(pin, mark))),
        pin_mark * radius_in,
    )


def turn_between(at: Vector, one: Vector, other: Vector) -> float:
    """Radians, −π..π, clockwise seen from outside, from one unit tangent at a point to another."""
    return math.atan2(dot(other, cross(one, at)), dot(one, other))
