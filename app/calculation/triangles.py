"""Triangles on a sphere: an angle from three sides, and the place at an angle and a distance from a line."""

import math

from app.calculation.sphere import Vector, combine, frame, travel


def travel_off_line(start: Vector, turn_right: float, distance: float) -> Vector:
    """The unit vector `distance` radians from `start`, `turn_right` radians clockwise off the centre line there."""
    long, right = frame(start)
    return travel(start, combine(math.cos(turn_right), long, math.sin(turn_right), right), distance)


def angle_opposite(far: float, a: float, b: float) -> float:
    """The angle facing side `far` in a spherical triangle (radians), by half-angle formulas, accurate when thin."""
    s = (far + a + b) / 2
    return 2 * math.atan2(
        math.sqrt(max(math.sin(s - a) * math.sin(s - b), 0.0)),
        math.sqrt(max(math.sin(s) * math.sin(s - far), 0.0)),
    )


def arc_to(a: float, b: float, between: float) -> float:
    """The third side of a spherical triangle (radians) from two sides and the angle between them: law of cosines."""
    cosine = math.cos(a) * math.cos(b) + math.sin(a) * math.sin(b) * math.cos(between)
    return math.acos(max(-1.0, min(1.0, cosine)))
