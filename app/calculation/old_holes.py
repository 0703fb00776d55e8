"""Holes that are in a ball already: as a new grip sees them, and how much of a new hole's wall lies in a filled one."""

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

from app.calculation.errors import CannotBuildError
from app.calculation.holes import FINGER, THUMB, OldHole, edge_angle, facing
from app.calculation.sphere import Vector, along_across_in, arc_angle, combine, cross, dot, frame, place
from app.calculation.walls import Solid

_LINES = 360
_TOUCHING_IN = 1e-3  # closer than this no direction from one centre to the other is told


@dataclass(frozen=True)
class GripMark:
    """Where a new grip centre lies from the mark that a ball's old holes are measured from.

    Inches of arc along and across, and the turn of the new centre line there, degrees clockwise seen from outside.
    """

    along_in: float = 0.0
    across_in: float = 0.0
    turn_deg: float = 0.0


ON_MARK = GripMark()


def check_old_hole(hole: OldHole, radius_in: float) -> None:
    """Raises CannotBuildError, naming the field, unless a hole starts on the ball and ends short of its middle."""
    if hole.depth_in >= radius_in:
        raise CannotBuildError("depth_in", "so deep a hole goes through the middle of the ball")
    if math.hypot(hole.forward_in, hole.right_in) + hole.cut_in / 2 >= radius_in:
        raise CannotBuildError("forward_in", "a hole of this size and pitch runs outside the ball")
    hole.find_axis(radius_in)


def measure_span_in(one: OldHole, other: OldHole, radius_in: float) -> float:
    """Returns the arc in inches between the facing edges of two old holes as bored, along the circle of their centres.

    Raises CannotBuildError naming `cut_in` where a hole has no edge there. Source: as the spans of a grip.
    """
    axes = one.find_axis(radius_in), other.find_axis(radius_in)
    there, back = facing(axes[0].centre, axes[1].centre)
    edges = edge_angle(axes[0], there, one.cut_in) + edge_angle(axes[1], back, other.cut_in)
    return radius_in * (arc_angle(axes[0].centre, axes[1].centre) - edges)


def place_by_span(hole: OldHole, known: OldHole, span_in: float, way: int, radius_in: float) -> OldHole:
    """Returns a hole moved along the centre line to where its edge is a span (inches) from that of a known hole.

    Its across stays. `way` is 1 towards the fingers from the known hole and -1 towards the thumb. By bisection, because
    the span only grows on that way. Raises CannotBuildError at `span_in` where no such place is on that quarter.
    """

    def off_in(away_in: float) -> float:
        return measure_span_in(replace(hole, along_in=known.along_in + way * away_in), known, radius_in) - span_in

    near, far = _TOUCHING_IN, math.pi / 2 * radius_in - _TOUCHING_IN
    if not off_in(near) <= 0 <= off_in(far):
        raise CannotBuildError("span_in", "no place on that way is so far from it, at this distance across")
    for _ in range(60):
        middle = (near + far) / 2
        near, far = (middle, far) if off_in(middle) < 0 else (near, middle)
    return replace(hole, along_in=known.along_in + way * far)


def see_from_grip(hole: OldHole, grip: GripMark, radius_in: float) -> OldHole:
    """Returns a hole as measured from the new grip centre: the same cylinder, with its place and pitch in that frame.

    Raises CannotBuildError for a place that is not on the ball, or lies a quarter of it beside the new centre line.
    Source: derived. A pitch is the component of the axis square to the place, in the tangent frame there.
    """
    if grip == ON_MARK:
        return hole
    axis, turned = hole.find_axis(radius_in), _turn_to(grip, radius_in)
    centre, inwards = turned(axis.centre), turned(axis.inwards)
    along, across = along_across_in(centre, radius_in)
    own_long, own_right = frame(centre)
    kind = THUMB if hole.digit == "thumb" else FINGER
    forward_in, right_in = kind * radius_in * dot(inwards, own_long), radius_in * dot(inwards, own_right)
    return replace(hole, along_in=along, across_in=across, forward_in=forward_in, right_in=right_in)


def see_mark_from(grip: GripMark, radius_in: float) -> GripMark:
    """Returns the mark as seen from a grip that was placed from it: the way back, for holes measured from that grip."""
    turned = _turn_to(grip, radius_in)
    up, ahead = turned((0.0, 0.0, 1.0)), turned((0.0, 1.0, 0.0))
    long, right = frame(up)
    return GripMark(*along_across_in(up, radius_in), math.degrees(math.atan2(dot(ahead, right), dot(ahead, long))))


def _turn_to(grip: GripMark, radius_in: float) -> Callable[[Vector], Vector]:
    """Returns what turns a vector of the mark's frame into the grip's own."""
    up = place(grip.along_in, grip.across_in, radius_in)
    long, right = frame(up)
    turn = math.radians(grip.turn_deg)
    ahead = combine(math.cos(turn), long, math.sin(turn), right)
    aside = cross(ahead, up)
    return lambda v: (dot(v, aside), dot(v, ahead), dot(v, up))


def share_of_wall(new: Solid, old: Solid) -> float:
    """The share, 0 to 1, of a new hole's side wall that lies inside an old hole, filled or open.

    The wall is all round the hole, from the ball's surface to its full-diameter floor. Lines down the wall are cut by
    the old hole's cylinder and floor exactly; their lengths are summed round the hole, within 0.01.
    """
    axis, r = new.axis, new.bore_in / 2
    along = axis.across(new.oval_deg)
    beside = cross(axis.inwards, along)
    total = inside = 0.0
    for off, weight in _walk_round(r, new.oval_in / 2):
        start = combine(1.0, axis.point(0.0), 1.0, combine(off[0], along, off[1], beside))
        down = dot(start, axis.inwards)
        flat = combine(1.0, start, -down, axis.inwards)
        rise = axis.radius_in**2 - dot(flat, flat)
        top = -math.sqrt(max(0.0, rise)) - down  # where this line leaves the ball, down from the axis's own mouth
        total += weight * max(0.0, new.depth_in - top)
        low, high = _find_inside(start, axis.inwards, old)
        inside += weight * max(0.0, min(high, new.depth_in) - max(low, top))
    return inside / total if total else 0.0


def _walk_round(r: float, half: float) -> list[tuple[tuple[float, float], float]]:
    """Points of the rim of a swept disc, along the sweep and beside it, each with the length of rim it stands for."""
    arc = 2 * math.pi * r / _LINES
    found = []
    for i in range(_LINES):
        turn = 2 * math.pi * (i + 0.5) / _LINES
        found.append(((math.copysign(half, math.cos(turn)) + r * math.cos(turn), r * math.sin(turn)), arc))
    steps = 40 if half else 0
    for i in range(steps):
        at = half * ((2 * i + 1) / steps - 1)
        found += [((at, side * r), 2 * half / steps) for side in (1, -1)]
    return found


def _find_inside(start: Vector, way: Vector, old: Solid) -> tuple[float, float]:
    """The stretch of the line start + t·way within a round, flat-floored hole, endless upwards; (0, 0) for none."""
    axis = old.axis
    from_mouth = combine(1.0, start, -1.0, axis.point(0.0))
    lean, deep = dot(way, axis.inwards), dot(from_mouth, axis.inwards)
    beside, across = combine(1.0, from_mouth, -deep, axis.inwards), combine(1.0, way, -lean, axis.inwards)
    a, b, c = dot(across, across), dot(beside, across), dot(beside, beside) - (old.bore_in / 2) ** 2
    if a < 1e-12:
        low, high = (-math.inf, math.inf) if c < 0 else (0.0, 0.0)
    else:
        root = b * b - a * c
        if root <= 0:
            return 0.0, 0.0
        low, high = (-b - math.sqrt(root)) / a, (-b + math.sqrt(root)) / a
    if abs(lean) < 1e-12:
        return (low, high) if deep < old.depth_in else (0.0, 0.0)
    floor = (old.depth_in - deep) / lean
    return (low, min(high, floor)) if lean > 0 else (max(low, floor), high)
