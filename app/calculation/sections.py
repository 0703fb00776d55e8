"""A section through the ball along the great circle of two holes: what a saw would show, to scale.

Plane coordinates are inches: x along the plane from thumb towards finger, y up out of the ball, the origin at the
ball's centre.
"""

import math
from dataclasses import dataclass

from app.calculation.holes import Axis
from app.calculation.sphere import Vector, combined, cross, dot, unit

Point = tuple[float, float]

_STEPS = 24


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
    up = unit(combined(1.0, a, 1.0, b))
    return Plane(cross(normal, up), up, normal)


@dataclass(frozen=True)
class BoreSection:
    """The outline a flat-bottomed bore leaves in a plane: down one side, across the floor, up, along the ball."""

    outline: tuple[Point, ...]


def bore_section(plane: Plane, axis: Axis, diameter_in: float, from_in: float, to_in: float) -> BoreSection | None:
    """The section of a bore between two depths down its axis (inches; from_in 0 or less: from the surface).

    Exact at every depth drawn: the disc at that depth cuts the plane in a chord. None where the bore passes the
    plane by. An axis that leans out of the plane narrows the chord, as it would under a saw.
    """
    lean = dot(plane.normal, axis.inwards)
    across = combined(1.0, plane.normal, -lean, axis.inwards)
    steep = dot(across, across)
    if steep < 1e-12:
        return None
    edge = unit(cross(axis.inwards, plane.normal))
    r = diameter_in / 2

    def side(depth: float, sign: int) -> Vector | None:
        centre = axis.point(depth)
        off = dot(plane.normal, centre)
        half = r * r - off * off / steep
        if half < 0:
            return None
        return combined(1.0, combined(1.0, centre, -off / steep, across), sign * math.sqrt(half), edge)

    def start(sign: int) -> float:
        """The depth at which this side leaves the ball's surface, by bisection."""
        if from_in > 0:
            return from_in
        low, high = -1.0, to_in
        for _ in range(60):
            middle = (low + high) / 2
            at = side(middle, sign)
            is_inside = at is None or dot(at, at) < axis.radius_in**2
            low, high = (low, middle) if is_inside else (middle, high)
        return high

    sides = []
    for sign in (1, -1):
        top = start(sign)
        points = [side(top + (to_in - top) * i / _STEPS, sign) for i in range(_STEPS + 1)]
        sides.append([plane.point(p) for p in points if p is not None])
    if not sides[0] or not sides[1]:
        return None
    mouth = _surface_between(sides[1][0], sides[0][0]) if from_in <= 0 else []
    return BoreSection((*sides[0], *reversed(sides[1]), *mouth))


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
        return self.least_in <= self.most_in


def depth_window(slug_in: float, lock_depth_in: float, bit_in: float, point_deg: float) -> DepthWindow:
    """The travel of the drill that goes through an inner without touching the lock.

    `slug_in` is the inner's solid length, `lock_depth_in` the lock below the surface (inches, > 0); `point_deg` the
    point angle, 180 for a flat bit. slug ≤ travel − point, travel ≤ lock depth, point = r / tan(angle / 2).
    Source: derived; the cone of a drill point, any handbook.
    """
    point = 0.0 if point_deg >= 180 else bit_in / 2 / math.tan(math.radians(point_deg) / 2)
    return DepthWindow(slug_in + point, lock_depth_in, point)
