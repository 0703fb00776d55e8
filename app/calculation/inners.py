"""The thumb piece: the pitch and oval felt once it is locked in, and the wall that is left around its hole."""

import math
from dataclasses import dataclass

from app.calculation.errors import CannotBuildError
from app.calculation.holes import THUMB, pitched_axis
from app.calculation.sphere import carry, combine, dot
from app.calculation.units import radius_in


@dataclass(frozen=True)
class FeltPitch:
    """Pitch of the thumb hole as felt, inches, thumb signs: forward and right positive."""

    forward_in: float
    right_in: float


def felt_pitch(
    circumference_in: float,
    bore_forward_in: float,
    bore_right_in: float,
    inner_forward_in: float,
    inner_right_in: float,
    turn_deg: float = 0.0,
) -> FeltPitch:
    """The felt pitch of an inner whose hole is tilted inside it, in a bore that has a pitch of its own.

    The inner's tilt is given at turn 0 and goes clockwise with `turn_deg`. Two tilts do not simply add:
    3/8 reverse in 3/8 reverse is felt as 0.747139 reverse. Source: derived; rotations by Rodrigues' formula.
    """
    radius = radius_in(circumference_in)
    tilt = math.hypot(inner_forward_in, inner_right_in)
    if tilt >= radius:
        raise CannotBuildError("inner_forward_in", "the inner's tilt is larger than the ball's radius")
    centre = (0.0, 0.0, 1.0)
    axis = pitched_axis(centre, bore_forward_in, bore_right_in, THUMB, radius)
    hole = axis.inwards
    if tilt:
        turn = math.radians(turn_deg)
        forward = inner_forward_in * math.cos(turn) - inner_right_in * math.sin(turn)
        right = inner_right_in * math.cos(turn) + inner_forward_in * math.sin(turn)
        flat = combine(forward / tilt, axis.long, right / tilt, axis.right)
        sideways = carry(flat, (0.0, 0.0, -1.0), axis.inwards)
        hole = combine(math.sqrt(1 - (tilt / radius) ** 2), axis.inwards, tilt / radius, sideways)
    return FeltPitch(radius * dot(hole, axis.long), radius * dot(hole, axis.right))


def felt_oval_deg(oval_deg: float, turn_deg: float) -> float:
    """Clock direction in degrees, 0 to 180, of an inner's oval once the inner is turned `turn_deg` clockwise."""
    return (oval_deg + turn_deg) % 180


@dataclass(frozen=True)
class InnerWall:
    """Least wall of an inner, inches (negative = broken through), and the depth at which it is."""

    least_wall_in: float
    at_depth_in: float


def inner_wall(
    circumference_in: float,
    inner_od_in: float,
    hole_in: float,
    length_in: float,
    oval_in: float = 0.0,
    oval_deg: float = 0.0,
    forward_difference_in: float = 0.0,
    right_difference_in: float = 0.0,
    offset_along_in: float = 0.0,
    offset_across_in: float = 0.0,
) -> InnerWall:
    """Least wall left around a hole drilled in an inner, over 0..`length_in` of depth.

    The pitch difference is the hole's pitch less the bore's (inches); none when the hole runs parallel to its
    bore, which is why shops pitch the bore like the hole. The offset is the hole's centre from the inner's, at the
    surface. The wall is thinnest at one end, since the hole's reach is a convex function of depth. Source: derived.
    """
    difference = math.hypot(forward_difference_in, right_difference_in)
    if difference >= radius_in(circumference_in):
        raise CannotBuildError("forward_difference_in", "the pitch difference is larger than the ball's radius")
    beta = math.asin(difference / radius_in(circumference_in))
    drift = math.tan(beta) / difference if difference else 0.0
    turn = math.radians(oval_deg)
    ends = [(s * oval_in / 2 * math.cos(turn), s * oval_in / 2 * math.sin(turn)) for s in (1, -1)]

    def reach(depth: float) -> float:
        return max(
            math.hypot(
                offset_along_in + depth * drift * forward_difference_in + along,
                offset_across_in + depth * drift * right_difference_in + across,
            )
            for along, across in ends
        )

    at = max((0.0, length_in), key=reach)
    return InnerWall(inner_od_in / 2 - reach(at) - hole_in / 2 / math.cos(beta), at)
