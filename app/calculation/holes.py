"""One hole: a straight, pitched, perhaps oval cylinder, and where it meets the ball's surface."""

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Literal, NamedTuple

from app.calculation.errors import CannotBuildError
from app.calculation.sphere import Vector, combine, cross, dot, frame, heading, place, unit

THUMB, FINGER = (
    1,
    -1,
)  # forward aims the bottom of the hole at the palm: +long for the thumb, -long for a finger
_EDGE_STEPS = 40
_EDGE_TOLERANCE = 1e-14  # radians: far below the 1e-9 in that a grip is solved to


@dataclass(frozen=True)
class Axis:
    """A hole's line in space: `centre` on the unit sphere, `inwards` unit direction, and the tangent frame there."""

    radius_in: float
    centre: Vector
    inwards: Vector
    long: Vector
    right: Vector

    def point(self, depth_in: float) -> Vector:
        """The point `depth_in` inches down the axis from the surface, inches from the ball's centre."""
        return combine(self.radius_in, self.centre, depth_in, self.inwards)

    def across(self, clock_deg: float) -> Vector:
        """Unit vector square to the axis in a clock direction (degrees clockwise from the fingers, from outside)."""
        turn = math.radians(clock_deg)
        w = combine(math.cos(turn), self.long, math.sin(turn), self.right)
        return unit(combine(1.0, w, -dot(w, self.inwards), self.inwards))


def pitched_axis(centre: Vector, forward_in: float, right_in: float, kind: int, radius_in: float) -> Axis:
    """The axis of a hole at `centre` with the given pitch (inches; reverse and left are negative).

    `kind` is THUMB or FINGER and decides which way forward points. The axis misses the ball's centre by exactly
    √(forward² + right²), which must be less than the ball's radius.
    """
    long, right = frame(centre)
    v = combine(kind * forward_in, long, right_in, right)
    pitch = math.hypot(forward_in, right_in)
    if pitch >= radius_in:
        raise CannotBuildError("forward_in", "the pitch is larger than the ball's radius")
    cosine = math.sqrt(1 - (pitch / radius_in) ** 2)
    return Axis(radius_in, centre, combine(-cosine, centre, 1 / radius_in, v), long, right)


def edge_angle(
    axis: Axis,
    tangent: Vector,
    diameter_in: float,
    oval_in: float = 0.0,
    oval_deg: float = 0.0,
    guess: float = 0.0,
) -> float:
    """Angle in radians from the hole's centre to its edge, along the unit `tangent` at the surface.

    The edge is where the cylinder meets the ball: the first point on the great circle whose distance from the
    axis (or from the swept axis of an oval) is half of `diameter_in`. Newton's method from `guess` (radians), or
    from the flat answer. Source: derived; for a pitch in the plane it is asin((p + r)/R) − asin(p/R).
    """
    big, r, half = axis.radius_in, diameter_in / 2, oval_in / 2
    centre, inwards = axis.centre, axis.inwards
    cosine, slope = -dot(centre, inwards), dot(tangent, inwards)
    w_c = w_t = 0.0
    if half:
        w = axis.across(oval_deg)
        w_c, w_t = dot(centre, w), dot(tangent, w)
    phi = guess or 1.01 * (r + abs(w_t) * half) / big
    for _ in range(_EDGE_STEPS):
        sin, cos = math.sin(phi), math.cos(phi)
        down = (1 - cos) * cosine + sin * slope
        down_rate = sin * cosine + cos * slope
        gap = 2 * (1 - cos) - down * down - (r / big) ** 2
        rate = 2 * sin - 2 * down * down_rate
        if half:
            side = (cos - 1) * w_c + sin * w_t
            side_rate = cos * w_t - sin * w_c
            beyond = math.copysign(max(abs(side) - half / big, 0.0), side)
            gap += beyond * beyond - side * side
            rate += 2 * (beyond - side) * side_rate
        if rate <= 0:
            break
        phi -= (step := gap / rate)
        if abs(step) < _EDGE_TOLERANCE:
            return phi
    raise CannotBuildError("hole_in", "a hole of this size and pitch has no edge on the ball")


def lifted_edge_angle(axis: Axis, tangent: Vector, diameter_in: float, lift: Vector, oval: Vector) -> float:
    """Angle in radians from a hole's centre, along `tangent`, to the edge of a cylinder that stands beside its axis.

    The cylinder runs parallel to the axis, off it by the vector `lift`, and is swept by half of the vector `oval` to
    either side; both inches, square to the axis. Negative where its edge lies behind the centre. By bisection, as few
    holes are lifted. Raises CannotBuildError. Source: derived.
    """
    big, r, sweep = axis.radius_in, diameter_in / 2, math.sqrt(dot(oval, oval))
    w = combine(1 / sweep, oval, 0.0, oval) if sweep else oval

    def find_gap_in(phi: float) -> float:
        there = combine(big * (math.cos(phi) - 1), axis.centre, big * math.sin(phi), tangent)
        beside = combine(1.0, there, -1.0, lift)
        square = combine(1.0, beside, -dot(beside, axis.inwards), axis.inwards)
        along = max(-sweep / 2, min(sweep / 2, dot(square, w)))
        left = combine(1.0, square, -along, w)
        return math.sqrt(dot(left, left)) - r

    low = dot(lift, tangent) / big
    high = low + (r + sweep) / big
    for _ in range(6):  # a steep pitch draws the edge out
        if find_gap_in(high) > 0:
            break
        high += r / big
    if not find_gap_in(low) < 0 < find_gap_in(high):
        raise CannotBuildError("hole_in", "the inside of the insert has no edge that way")
    while high - low > _EDGE_TOLERANCE * 10:
        middle = (low + high) / 2
        low, high = (middle, high) if find_gap_in(middle) < 0 else (low, middle)
    return (low + high) / 2


def shift_axis(axis: Axis, offset_in: float, clock_deg: float) -> Axis:
    """The axis parallel to this one, `offset_in` inches away in a clock direction projected square to it.

    `clock_deg` is clockwise from the fingers seen from outside; a negative offset goes the other way. Source: derived;
    checked against pyproj with scipy root finding in the tests of cuts.
    """
    if not offset_in:
        return axis
    beside = combine(1.0, axis.point(0.0), offset_in, axis.across(clock_deg))
    # up or down the axis to the sphere: |beside + s·inwards| = R, the root that is nearer to the surface place
    along, beyond = dot(beside, axis.inwards), dot(beside, beside) - axis.radius_in**2
    at = combine(1.0, beside, -beyond / (along - math.sqrt(along * along - beyond)), axis.inwards)
    return replace(axis, centre=combine(1 / axis.radius_in, at, 0.0, at))


def surface_point(axis: Axis, reach_in: float, clock_deg: float) -> Vector:
    """The point of the ball's surface `reach_in` from a hole's axis in a clock direction, inches from the centre."""
    foot = axis.point(-axis.radius_in * dot(axis.centre, axis.inwards))
    across = combine(1.0, foot, reach_in, axis.across(clock_deg))
    return combine(1.0, across, -math.sqrt(axis.radius_in**2 - dot(across, across)), axis.inwards)


@dataclass(frozen=True)
class Tilt:
    """How a hole leans in its bore: degrees between the axes, 0 or more, and `share_along`, the share of a move in a
    clock direction that runs the way the hole leans, 0 to 1.
    """

    deg: float
    share_along: float


def tilt_between(hole: Axis, bore: Axis, clock_deg: float) -> Tilt:
    """The tilt of a hole in the bore it shares a surface place with; `clock_deg` as for an oval."""
    lean = combine(1.0, bore.inwards, -dot(bore.inwards, hole.inwards), hole.inwards)
    sine = math.sqrt(dot(lean, lean))
    share = abs(dot(lean, hole.across(clock_deg))) / sine if sine > 1e-12 else 0.0
    return Tilt(math.degrees(math.asin(min(1.0, sine))), share)


class RimPoint(NamedTuple):
    """A point of the curve a hole cuts in the ball (inches from its centre), and the curve's tangent there.

    `arc_before` and `arc_after` are the turns, in radians, of the pieces of rim that end and begin here; 0 stands
    for the straight side of an oval, whose tangent is then its whole length. The tangent is per radian of turn.
    """

    at: Vector
    before: Vector
    after: Vector
    arc_before: float
    arc_after: float


def rim_points(
    axis: Axis, diameter_in: float, oval_in: float = 0.0, oval_deg: float = 0.0, steps: int = 36
) -> list[RimPoint]:
    """The rim of a hole in order round it: exact points and tangents, `steps` pieces to a full circle (even).

    An oval is two half circles joined by two straight sides, all lying on the sphere.
    """
    w = axis.across(oval_deg)
    side = cross(w, axis.inwards)
    foot = axis.point(-axis.radius_in * dot(axis.centre, axis.inwards))
    r, half, turn = diameter_in / 2, oval_in / 2, 2 * math.pi / steps

    def tangent(across: Vector, dq: Vector, height: float) -> Vector:
        return combine(1.0, dq, dot(across, dq) / height, axis.inwards)

    points = []
    for end, start in ((half, -math.pi / 2), (-half, math.pi / 2)):  # the half circle about each end of the sweep
        for i in range(steps // 2 + 1):
            angle = start + turn * i
            cos, sin = math.cos(angle), math.sin(angle)
            across = combine(1.0, foot, 1.0, combine(end + r * cos, w, r * sin, side))
            height = math.sqrt(axis.radius_in**2 - dot(across, across))
            at = combine(1.0, across, -height, axis.inwards)
            is_first, is_last = i == 0, i == steps // 2
            bend = tangent(across, combine(-r * sin, w, r * cos, side), height)
            before = tangent(across, combine(2 * end, w, 0.0, side), height) if is_first else bend
            after = tangent(across, combine(-2 * end, w, 0.0, side), height) if is_last else bend
            points.append(RimPoint(at, before, after, 0.0 if is_first else turn, 0.0 if is_last else turn))
    return points


def facing(a: Vector, b: Vector) -> tuple[Vector, Vector]:
    """The unit tangents with which two hole centres face one another."""
    return heading(a, b), heading(b, a)


def axis_gap_in(a: Axis, depth_a_in: float, b: Axis, depth_b_in: float) -> float:
    """Least distance in inches between two axis segments, each from the surface to its depth (inches, > 0)."""
    return _prepare_gap(a, b)(depth_a_in, depth_b_in)


def _prepare_gap(a: Axis, b: Axis) -> Callable[[float, float], float]:
    """Returns the least distance between two axes as a function of their depths, inches.

    Source: closest points of two segments, C. Ericson, Real-Time Collision Detection (2005), section 5.1.9.
    """
    u, v = a.inwards, b.inwards
    between = combine(1.0, a.point(0.0), -1.0, b.point(0.0))
    mixed, along_a, along_b = dot(u, v), dot(u, between), dot(v, between)
    skew = 1 - mixed * mixed
    nearest = (mixed * along_b - along_a) / skew if skew > 1e-12 else 0.0

    def gap_in(depth_a_in: float, depth_b_in: float) -> float:
        s = min(max(nearest, 0.0), depth_a_in)
        t = mixed * s + along_b
        if t < 0 or t > depth_b_in:
            t = min(max(t, 0.0), depth_b_in)
            s = min(max(mixed * t - along_a, 0.0), depth_a_in)
        gap = combine(1.0, combine(1.0, between, s, u), -t, v)
        return math.sqrt(dot(gap, gap))

    return gap_in


def meeting_depth_in(a: Axis, depth_a_in: float, b: Axis, depth_b_in: float, reach_in: float) -> float:
    """Depth in inches down both axes at which two holes that do break together first touch, by bisection.

    They touch where the axes, each down to at most its own depth (inches, > 0), come within `reach_in`, the sum of
    their radii.
    """
    low, high, gap_in = 0.0, max(depth_a_in, depth_b_in), _prepare_gap(a, b)
    for _ in range(50):
        depth = (low + high) / 2
        gap = gap_in(min(depth, depth_a_in), min(depth, depth_b_in))
        low, high = (depth, high) if gap > reach_in else (low, depth)
    return high


@dataclass(frozen=True)
class OldHole:
    """A hole that is in the ball already, open or filled: place, size, pitch (signs of its digit) and depth, inches."""

    along_in: float
    across_in: float
    cut_in: float
    forward_in: float
    right_in: float
    depth_in: float
    digit: Literal["thumb", "finger"]

    def find_axis(self, radius_in: float) -> Axis:
        """Its line in a ball of this radius; raises CannotBuildError for a place that is not on the ball."""
        quarter = math.pi / 2 * radius_in
        if abs(self.along_in) > 2 * quarter:
            raise CannotBuildError("along_in", "that is more than half way round the ball")
        if abs(self.across_in) >= quarter:
            raise CannotBuildError("across_in", "that is a quarter of the ball or more off the centre line")
        kind = THUMB if self.digit == "thumb" else FINGER
        centre = place(self.along_in, self.across_in, radius_in)
        return pitched_axis(centre, self.forward_in, self.right_in, kind, radius_in)

    def find_web_in(self, axis: Axis, depth_in: float, hole_radius_in: float) -> float:
        """The web to another hole: least distance between the two axes, each to its depth, less both radii, inches."""
        own = self.find_axis(axis.radius_in)
        return axis_gap_in(axis, depth_in, own, self.depth_in) - hole_radius_in - self.cut_in / 2
