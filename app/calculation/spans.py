"""What the solvers of every grip share: which side a finger is on, edges of insides, the fingers' triangle, spans."""

import math

from app.calculation.errors import CannotBuildError
from app.calculation.grip import Finger, Hand, Spans, Thumb
from app.calculation.holes import Axis, edge_angle, facing, lifted_edge_angle
from app.calculation.sphere import Vector, arc_angle, combine
from app.calculation.triangles import angle_opposite


def middle_side(hand: Hand) -> int:
    """Which way across the middle finger is: -1 left, 1 right."""
    return -1 if hand == "right" else 1


def inside_edge(axis: Axis, tangent: Vector, finger: Finger, digit: str = "", guess: float = 0.0) -> float:
    """Angle in radians from a finger hole's centre to the edge of its insert's inside, oval and lift counted.

    Raises CannotBuildError at the finger's `hole_in` where it has no edge on the ball.
    """
    try:
        if not finger.lift_in:
            return edge_angle(axis, tangent, finger.hole_in, finger.oval_in, finger.oval_deg, guess)
        lift = combine(finger.lift_in, axis.across(finger.lift_deg), 0.0, axis.centre)
        oval = combine(finger.oval_in, axis.across(finger.oval_deg), 0.0, axis.centre)
        return lifted_edge_angle(axis, tangent, finger.hole_in, lift, oval)
    except CannotBuildError as error:
        raise CannotBuildError(f"{digit}.hole_in", error.message) from None


def find_turn_to_middle(to_middle: float, to_midpoint: float, at_middle: float) -> float:
    """Angle in radians at the thumb, or at the palm's centre, from the midpoint of the fingers to the middle finger.

    `to_middle` and `to_midpoint` are the arcs from the middle finger to it and to the midpoint, `at_middle` the angle
    between them.
    """
    return math.atan2(
        math.sin(to_midpoint) * math.sin(at_middle),
        math.cos(to_midpoint) * math.sin(to_middle) - math.sin(to_midpoint) * math.cos(to_middle) * math.cos(at_middle),
    )


def find_angles(to_middle: float, to_ring: float, base: float, field: str = "span_in") -> tuple[float, float]:
    """(angle at the middle finger, angle at the thumb or palm), radians, of the triangle with these sides.

    Raises CannotBuildError at a finger's `field` or at the bridge where they do not close.
    """
    asked = "spans" if field == "span_in" else "reaches"
    if base >= to_middle + to_ring:
        raise CannotBuildError("bridge_in", f"the bridge is too wide for these {asked}")
    if base <= abs(to_middle - to_ring):
        longer = "middle" if to_middle > to_ring else "ring"
        raise CannotBuildError(
            f"{longer}.{field}", f"the two {asked} differ by more than the distance between the finger holes"
        )
    if max(to_middle, to_ring) >= math.pi / 2:
        raise CannotBuildError(f"middle.{field}", "the fingers are more than a quarter of the ball away")
    return angle_opposite(to_ring, to_middle, base), angle_opposite(base, to_middle, to_ring)


def measure_spans(sleeve_od_in: float | None, thumb: Thumb, finger: Finger, axes: tuple[Axis, Axis, Axis]) -> Spans:
    """The span of a finger by each set of edges; `axes` are those of thumb, sleeve and finger."""
    thumb_axis, sleeve_axis, axis = axes
    outwards, back = facing(thumb_axis.centre, axis.centre)
    between = arc_angle(thumb_axis.centre, axis.centre)
    hole = edge_angle(thumb_axis, outwards, thumb.hole_in, thumb.oval_in, thumb.oval_deg)
    cut, finished = edge_angle(axis, back, finger.cut_in), inside_edge(axis, back, finger)
    sleeve = edge_angle(sleeve_axis, outwards, sleeve_od_in) if sleeve_od_in else None
    return Spans(
        cut_in=axis.radius_in * (between - hole - cut),
        finished_in=axis.radius_in * (between - hole - finished),
        sleeve_to_cut_in=None if sleeve is None else axis.radius_in * (between - sleeve - cut),
    )
