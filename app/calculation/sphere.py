"""Points and arcs on the ball, as unit vectors from its centre.

+z leaves the grip centre, +y runs along the centre line towards the fingers, +x is right seen from outside
with the fingers up. A surface place is (along, across), inches of arc.
"""

import math

Vector = tuple[float, float, float]


def dot(a: Vector, b: Vector) -> float:
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]


def cross(a: Vector, b: Vector) -> Vector:
    return (a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0])


def combine(a: float, u: Vector, b: float, v: Vector) -> Vector:
    """The vector a·u + b·v."""
    return (a * u[0] + b * v[0], a * u[1] + b * v[1], a * u[2] + b * v[2])


def unit(v: Vector) -> Vector:
    size = math.sqrt(dot(v, v))
    return (v[0] / size, v[1] / size, v[2] / size)


def place(along_in: float, across_in: float, radius_in: float) -> Vector:
    """Unit vector of the surface place `along_in` towards the fingers and `across_in` to the right (inches of arc)."""
    along, across = along_in / radius_in, across_in / radius_in
    return (math.sin(across), math.cos(across) * math.sin(along), math.cos(across) * math.cos(along))


def along_across_in(point: Vector, radius_in: float) -> tuple[float, float]:
    """(along, across) in inches of arc of a unit vector; the inverse of `place` for |across| < a quarter turn."""
    x = max(-1.0, min(1.0, point[0]))
    return radius_in * math.atan2(point[1], point[2]), radius_in * math.asin(x)


def arc_angle(a: Vector, b: Vector) -> float:
    """Angle in radians, 0..π, between two unit vectors; accurate for tiny and for large angles."""
    n = cross(a, b)
    return math.atan2(math.sqrt(dot(n, n)), dot(a, b))


def heading(a: Vector, b: Vector) -> Vector:
    """Unit tangent at `a` along the great circle towards `b`; the two may not coincide."""
    return unit(combine(1.0, b, -dot(a, b), a))


def travel(a: Vector, tangent: Vector, angle: float) -> Vector:
    """The point reached from `a` after `angle` radians in the direction of the unit `tangent`."""
    return combine(math.cos(angle), a, math.sin(angle), tangent)


def veer(a: Vector, tangent: Vector, right: float) -> Vector:
    """The unit `tangent` at `a` turned by `right` radians, clockwise seen from outside the ball."""
    return combine(math.cos(right), tangent, math.sin(right), cross(tangent, a))


def frame(centre: Vector) -> tuple[Vector, Vector]:
    """(long, right) at a surface point: the y-axis projected square to it, and what lies to its right from outside."""
    long = unit((-centre[1] * centre[0], 1 - centre[1] * centre[1], -centre[1] * centre[2]))
    return long, cross(long, centre)


def carry(v: Vector, start: Vector, end: Vector) -> Vector:
    """`v` turned by the least rotation that takes the unit vector `start` to `end` (not its opposite).

    Source: Rodrigues' rotation formula about start × end.
    """
    axis = cross(start, end)
    turned = combine(1.0, combine(dot(start, end), v, 1.0, cross(axis, v)), dot(axis, v) / (1 + dot(start, end)), axis)
    return turned
