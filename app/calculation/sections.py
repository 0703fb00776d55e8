"""A section through the ball along the great circle of two holes: what a saw would show, to scale.

Plane coordinates are inches: x along the plane from thumb towards finger, y up out of the ball, the origin at the
ball's centre.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass

from app.calculation.holes import Axis
from app.calculation.sphere import Vector, combine, cross, dot, unit

Point = tuple[float, float]

_STEPS = 24
_SAME_IN = 1e-9  # inches: a travel that just fits fits


@dataclass(frozen=True)
class Plane:
    """The plane through the ball's centre and two places: unit vectors along it, up, and square to it."""

    along: Vector
    up: Vector
    normal: Vector

    def point(self, at: Vector) -> Point:
        return dot(at, self.along), dot(at, self.up)


def plane_through(a: Vector, b: Vector) -> Plane:
    """The plane of the great circle through two unit vectors, up half way between them."""
    normal = unit(cross(a, b))
    up = unit(combine(1.0, a, 1.0, b))
    return Plane(cross(normal, up), up, normal)


@dataclass(frozen=True)
class BoreSection:
    """The outline a flat-bottomed bore leaves in a plane: down one side, across the floor, up, along the ball."""

    outline: tuple[Point, ...]


def bore_section(
    plane: Plane,
    axis: Axis,
    diameter_in: float,
    from_in: float,
    to_in: float,
    oval_in: float = 0.0,
    oval_deg: float = 0.0,
    point_in: float = 0.0,
) -> BoreSection | None:
    """The section of a bore between two depths down its axis (inches; from_in 0 or less: from the surface).

    Exact at every depth drawn: the disc at that depth, swept by an oval, cuts the plane in a chord. None where the
    bore passes the plane by. An axis that leans out of the plane narrows the chord, as it would under a saw. Below
    `to_in` a point of `point_in` inches narrows the disc to nothing.
    """
    sawn = _saw(plane, axis, oval_in / 2, oval_deg)
    if sawn is None:
        return None

    def radius(depth: float) -> float:
        return diameter_in / 2 * (1 - max(0.0, depth - to_in) / point_in if point_in else 1.0)

    sides = []
    for sign in (1, -1):
        top = from_in if from_in > 0 else _find_surface(sawn, radius, to_in, sign)
        depths = [top + (to_in - top) * i / _STEPS for i in range(_STEPS + 1)]
        if point_in:
            depths += [to_in + point_in * i / _STEPS for i in range(1, _STEPS + 1)]
        points = [sawn.side(depth, radius(depth), sign) for depth in depths]
        sides.append([plane.point(p) for p in points if p is not None])
    if not all(sides):
        return None
    mouth = _surface_between(sides[1][0], sides[0][0]) if from_in <= 0 else []
    return BoreSection((*sides[0], *reversed(sides[1]), *mouth))


@dataclass(frozen=True)
class _Sawn:
    """A bore as a plane saws it: `edge` runs along the chord, `across` square to it; `steep` is |across|²."""

    plane: Plane
    axis: Axis
    half_oval_in: float
    edge: Vector
    across: Vector
    steep: float
    oval_along: float
    oval_off: float

    def side(self, depth: float, radius_in: float, sign: int) -> Vector | None:
        """Where the plane leaves the disc at a depth, on one side of it."""
        centre = self.axis.point(depth)
        off = dot(self.plane.normal, centre)
        chord = -off / math.sqrt(self.steep)
        reach = _reach(chord, radius_in, self.half_oval_in, sign * self.oval_along, self.oval_off)
        if reach is None:
            return None
        return combine(1.0, combine(1.0, centre, -off / self.steep, self.across), sign * reach, self.edge)


def _saw(plane: Plane, axis: Axis, half_oval_in: float, oval_deg: float) -> _Sawn | None:
    """None where the axis stands square to the plane."""
    lean = dot(plane.normal, axis.inwards)
    across = combine(1.0, plane.normal, -lean, axis.inwards)
    steep = dot(across, across)
    if steep < 1e-12:
        return None
    edge, w = unit(cross(axis.inwards, plane.normal)), axis.across(oval_deg)
    return _Sawn(plane, axis, half_oval_in, edge, across, steep, dot(w, edge), dot(w, unit(across)))


def _find_surface(sawn: _Sawn, radius: Callable[[float], float], to_in: float, sign: int) -> float:
    """The depth at which one side of a sawn bore leaves the ball's surface, by bisection."""
    low, high = -1.0, to_in
    for _ in range(60):
        middle = (low + high) / 2
        at = sawn.side(middle, radius(middle), sign)
        is_inside = at is None or dot(at, at) < sawn.axis.radius_in**2
        low, high = (low, middle) if is_inside else (middle, high)
    return high


def _reach(off: float, r: float, half: float, w_along: float, w_off: float) -> float | None:
    """How far a line `off` from the centre of a swept disc runs to where it leaves it, along itself; None if outside.

    The disc of radius `r` is swept by ± `half` in the direction (w_along, w_off), along the line and square to it.
    """
    ends = []
    for sweep in (half, -half):
        square = r * r - (off - sweep * w_off) ** 2
        if square >= 0:
            ends.append(sweep * w_along + math.sqrt(square))
    if half and abs(w_off) > 1e-12:  # the two straight sides, between the tangent points of the end discs
        for turn in (r, -r):
            sweep = (off - turn * w_along) / w_off
            if abs(sweep) <= half:
                ends.append(sweep * w_along - turn * w_off)
    return max(ends, default=None)


def _surface_between(a: Point, b: Point) -> list[Point]:
    """Points of the ball's outline strictly between two of its points."""
    radius, start = math.hypot(*a), math.atan2(a[1], a[0])
    turn = math.atan2(b[1], b[0]) - start
    turns = (start + turn * i / _STEPS for i in range(1, _STEPS))
    return [(radius * math.cos(t), radius * math.sin(t)) for t in turns]


@dataclass(frozen=True)
class DepthWindow:
    """How far the through-drill may travel, inches: full diameter clear of the slug, point off the lock."""

    least_in: float
    most_in: float
    point_in: float

    @property
    def is_open(self) -> bool:
        return self.least_in <= self.most_in + _SAME_IN


def depth_window(
    slug_in: float,
    lock_depth_in: float,
    bit_in: float,
    point_deg: float,
    tilt_deg: float = 0.0,
    oval_along_in: float = 0.0,
) -> DepthWindow:
    """The travel of the drill, tip first down its own axis, that goes through an inner without touching the lock.

    `slug_in` is the inner's solid length, `lock_depth_in` the lock below the surface, both down the bore's axis
    (inches, > 0); `point_deg` the point angle, 180 for a flat bit. `tilt_deg` is the angle between hole and bore, and
    `oval_along_in` how much of the oval runs the way the hole leans, inches, 0 or more. Straight in its bore:
    slug ≤ travel − point, travel ≤ lock depth, point = r / tan(angle / 2). Tilted by β, the full-diameter edge is
    reach·tan β shallower on one side and deeper on the other, with reach = r + oval / 2 along the lean.
    Source: derived; the cone of a drill point, any handbook.
    """
    point = 0.0 if point_deg >= 180 else bit_in / 2 / math.tan(math.radians(point_deg) / 2)
    tilt = math.radians(tilt_deg)
    swept, reach = oval_along_in / 2 * math.tan(tilt), (bit_in + oval_along_in) / 2 * math.tan(tilt)
    down = lock_depth_in / math.cos(tilt)
    return DepthWindow(slug_in / math.cos(tilt) + reach + point, min(down - swept, down - reach + point), point)
