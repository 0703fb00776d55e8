"""How near the mouths of a grip's holes come to the pin, the mass mark and the track, and which come too near."""

import math
from dataclasses import dataclass
from typing import Literal

from app.calculation.cuts import SleeveBore
from app.calculation.grip import SolvedGrip
from app.calculation.holes import THUMB, Axis, pitched_axis, rim_points
from app.calculation.layouts import LaidOut
from app.calculation.sphere import Vector, arc_angle, combine, cross, dot, unit

HoleName = Literal["thumb", "middle", "ring"]
Spot = Literal["pin", "mark", "track"]

_STEPS = 360  # pieces of a rim: the arc bulges from their straight lines by 3e-5 in at a radius of 3/4 in
_SIDE_STEPS = 8  # pieces of an oval's straight side, which no great circle follows
_HERE = 1e-12  # radians: two points that are one


@dataclass(frozen=True, slots=True)
class Limits:
    """The least gap in inches, 0 or more, between a hole's rim and the pin, the mass mark and the track."""

    pin_in: float
    mark_in: float
    track_in: float


@dataclass(frozen=True, slots=True)
class Clearance:
    """The gap between one hole's outermost rim and a spot, inches of arc on the ball, and its limit.

    0 where the rim goes through the spot, negative where the hole lies over it: then how deep inside the rim it lies.
    """

    hole: HoleName
    spot: Spot
    gap_in: float
    limit_in: float

    @property
    def is_over(self) -> bool:
        """Whether the hole lies over the spot."""
        return self.gap_in < 0

    @property
    def is_conflict(self) -> bool:
        """Whether it comes nearer than its limit; a gap of just the limit is enough."""
        return self.gap_in < self.limit_in - 1e-9


@dataclass(frozen=True, slots=True)
class _Mouth:
    """A round or oval hole's mouth: its cylinder and its rim as unit vectors."""

    axis: Axis
    size_in: float
    oval_in: float
    oval_deg: float
    rim: tuple[Vector, ...]

    def holds(self, at: Vector) -> bool:
        """Whether a place of the ball lies within the mouth, and not where the cylinder would come out again."""
        axis = self.axis
        beside = combine(axis.radius_in, at, -axis.radius_in, axis.centre)
        square = combine(1.0, beside, -dot(beside, axis.inwards), axis.inwards)
        w = axis.across(self.oval_deg)
        along = max(-self.oval_in / 2, min(self.oval_in / 2, dot(square, w)))
        left = combine(1.0, square, -along, w)
        return dot(at, axis.inwards) < 0 and dot(left, left) < (self.size_in / 2) ** 2


def measure_clearances(
    solved: SolvedGrip, laid: LaidOut, limits: Limits, track_in: float | None = None, bore: SleeveBore | None = None
) -> tuple[Clearance, ...]:
    """Returns the clearance of every hole of a grip as it is cut, from pin, mass mark and, where known, the track.

    A finger hole counts as bored; a thumb hole with its oval, its sleeve and its bore, whichever comes nearest. The
    track is the circle about the axis point at `track_in` inches of arc. Gaps within 1e-4 in. Source: derived; checked
    against rims sampled on pyproj's geodesics.
    """
    found: list[Clearance] = []
    for hole, mouths in _list_mouths(solved, bore).items():
        to_pin, to_mark = (min(_measure_gap(mouth, at) for mouth in mouths) for at in (laid.pin, laid.mark))
        found += [Clearance(hole, "pin", to_pin, limits.pin_in), Clearance(hole, "mark", to_mark, limits.mark_in)]
        if track_in is not None:
            to_track = min(_measure_to_track(mouth, laid.axis, track_in) for mouth in mouths)
            found.append(Clearance(hole, "track", to_track, limits.track_in))
    return tuple(found)


def find_conflicts(
    solved: SolvedGrip, laid: LaidOut, limits: Limits, track_in: float | None = None, bore: SleeveBore | None = None
) -> tuple[Clearance, ...]:
    """Returns those clearances that are less than their limits, the smallest gap first."""
    clearances = measure_clearances(solved, laid, limits, track_in, bore)
    return tuple(sorted((c for c in clearances if c.is_conflict), key=lambda c: c.gap_in))


def _list_mouths(solved: SolvedGrip, bore: SleeveBore | None) -> dict[HoleName, list[_Mouth]]:
    mouths: dict[HoleName, list[_Mouth]] = {}
    thumb, hole = solved.thumb, solved.grip.thumb
    if thumb and hole:
        mouths["thumb"] = [_make_mouth(thumb, hole.hole_in, hole.oval_in, hole.oval_deg)]
        if solved.grip.sleeve_od_in and solved.sleeve:
            mouths["thumb"].append(_make_mouth(solved.sleeve, solved.grip.sleeve_od_in))
        if bore:
            axis = pitched_axis(thumb.centre, bore.forward_in, bore.right_in, THUMB, thumb.radius_in)
            mouths["thumb"].append(_make_mouth(axis, bore.bore_in))
    for name, axis in solved.fingers.items():
        mouths[name] = [_make_mouth(axis, solved.grip.fingers[name].cut_in)]
    return mouths


def _make_mouth(axis: Axis, size_in: float, oval_in: float = 0.0, oval_deg: float = 0.0) -> _Mouth:
    points = rim_points(axis, size_in, oval_in, oval_deg, _STEPS)
    rim: list[Vector] = []
    for point, following in zip(points, (*points[1:], points[0]), strict=True):
        rim.append(unit(point.at))
        if oval_in and not point.arc_after:
            rim += _fill_side(axis, point.at, following.at)
    return _Mouth(axis, size_in, oval_in, oval_deg, tuple(rim))


def _fill_side(axis: Axis, one: Vector, other: Vector) -> list[Vector]:
    """Places between the ends of an oval's straight side (inches from the ball's centre), on its rim."""
    found = []
    for i in range(1, _SIDE_STEPS):
        at = combine(1 - i / _SIDE_STEPS, one, i / _SIDE_STEPS, other)
        deep = dot(at, axis.inwards)
        rise = deep + math.sqrt(deep * deep - dot(at, at) + axis.radius_in**2)
        found.append(unit(combine(1.0, at, -rise, axis.inwards)))
    return found


def _measure_gap(mouth: _Mouth, at: Vector) -> float:
    """Inches of arc from a mouth's rim to a place, negative inside."""
    rim, count = mouth.rim, len(mouth.rim)
    closest = max(range(count), key=lambda i: dot(rim[i], at))
    pieces = range(closest - 2, closest + 2)  # two points may be one, where a half circle ends
    nearest = min(_arc_to_piece(at, rim[i % count], rim[(i + 1) % count]) for i in pieces)
    return mouth.axis.radius_in * (-nearest if mouth.holds(at) else nearest)


def _arc_to_piece(at: Vector, one: Vector, other: Vector) -> float:
    """Radians of the least arc from a place to a short piece of a great circle."""
    pole = cross(one, other)
    size = math.sqrt(dot(pole, pole))
    if size > _HERE and dot(cross(pole, one), at) > 0 > dot(cross(pole, other), at):
        return abs(math.asin(max(-1.0, min(1.0, dot(at, pole) / size))))
    return min(arc_angle(at, one), arc_angle(at, other))


def _measure_to_track(mouth: _Mouth, axis_point: Vector, track_in: float) -> float:
    """Inches of arc from a mouth's rim to the circle about an axis point, negative where the circle crosses it."""
    off = [mouth.axis.radius_in * arc_angle(axis_point, at) - track_in for at in mouth.rim]
    low, high = min(off), max(off)
    return max(low, -high)
