"""A thumb bore, what its depth means, and how an inner trimmed flush in one bore sits in another."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from operator import sub
from typing import Literal, NamedTuple

from app.calculation.errors import CannotBuildError
from app.calculation.units import radius_in

Datum = Literal["collar", "crown", "rim_high", "rim_low"]
DATUMS: tuple[Datum, ...] = ("collar", "crown", "rim_high", "rim_low")

RIM_STEPS = 72
_STEP = 2 * math.pi / RIM_STEPS
_RIM_TURNS = tuple((math.cos(i * _STEP), math.sin(i * _STEP)) for i in range(RIM_STEPS))


@dataclass(frozen=True)
class Bore:
    """A round flat-bottomed bore. `depth_in` is the collar setting: collar face to the flat. Inches, thumb signs."""

    circumference_in: float
    bore_in: float
    depth_in: float
    forward_in: float = 0.0
    right_in: float = 0.0

    @property
    def pitch_in(self) -> float:
        """Distance in inches by which the bore's axis misses the ball's centre, 0 or more."""
        return math.hypot(self.forward_in, self.right_in)


@dataclass(frozen=True)
class Flushness:
    """How far an inner stands proud of the ball, inches (negative = sunk): its centre, four sides and extremes."""

    centre_in: float
    front_in: float
    right_in: float
    back_in: float
    left_in: float
    highest_in: float
    lowest_in: float
    heights_in: tuple[float, ...]  # of the rim: one value every 5 degrees clockwise from the front


def check_bore(bore: Bore) -> None:
    """Raises CannotBuildError naming the field when the bore does not meet the ball all round."""
    if bore.pitch_in + bore.bore_in / 2 >= radius_in(bore.circumference_in):
        raise CannotBuildError("bore_in", "a bore of this size and pitch does not lie inside the ball")


def height_in(bore: Bore, datum: Datum) -> float:
    """Height in inches above the ball's mid-plane, square to the bore's axis, of what a depth is measured from.

    `collar`: the highest point left of the surface, on which a flat stop collar rests; `rim_high` is the same
    point of the finished bore. `crown`: the surface on the bore's axis before boring. `rim_low`: the lowest
    point of the bore's edge. Source: derived; `templates/help/geometry.md`, "Depth".
    """
    check_bore(bore)
    b, m = bore.bore_in / 2, bore.pitch_in
    offset = {"collar": b - m, "rim_high": b - m, "crown": m, "rim_low": b + m}[datum]
    return math.sqrt(radius_in(bore.circumference_in) ** 2 - offset**2)


def collar_depth_in(bore: Bore, datum: Datum) -> float:
    """The collar setting in inches of a bore whose `depth_in` was measured from `datum`."""
    return bore.depth_in - (height_in(bore, datum) - height_in(bore, "collar"))


def axis_depth_in(bore: Bore) -> float:
    """Depth in inches of a bore's floor, down its axis from the ball's surface there, at its collar setting."""
    return bore.depth_in + height_in(bore, "crown") - height_in(bore, "collar")


def collar_depth_range_in(bore: Bore) -> tuple[float, float]:
    """(least, greatest) collar setting in inches when nobody knows what `depth_in` was measured from."""
    depths = [collar_depth_in(bore, datum) for datum in DATUMS]
    return min(depths), max(depths)


def surface_above_seat_in(bore: Bore, reach_in: float, turn: float) -> float:
    """Height in inches of the ball's surface above the seat, `reach_in` from the axis at `turn` radians.

    `turn` runs clockwise from the front (towards the fingers) seen from outside, in the bore's own cross-section.
    """
    radius, seat = radius_in(bore.circumference_in), height_in(bore, "collar") - bore.depth_in
    cross = bore.forward_in * math.cos(turn) + bore.right_in * math.sin(turn)
    return math.sqrt(radius**2 - bore.pitch_in**2 - reach_in**2 - 2 * reach_in * cross) - seat


def flushness(inner_od_in: float, made_in: Bore, fitted_in: Bore, turn_deg: float = 0.0) -> Flushness:
    """How an inner trimmed flush in `made_in` stands when locked into `fitted_in`, turned `turn_deg` clockwise.

    `inner_od_in` is the inner's outside diameter (inches, not more than either bore). Proud is positive.
    Perfect depth cures no difference of pitch: the rim then tilts about a flush centre.
    """
    for bore in (made_in, fitted_in):
        if inner_od_in > bore.bore_in:
            raise CannotBuildError("inner_od_in", "the inner is wider than the bore")
    reach, tau = inner_od_in / 2, math.radians(turn_deg)
    made, fitted = _rim_curve(made_in, reach, tau), _rim_curve(fitted_in, reach, 0.0)
    heights = tuple(map(sub, made.heights_in, fitted.heights_in))
    highest, lowest = heights.index(max(heights)), heights.index(min(heights))
    return Flushness(
        centre_in=surface_above_seat_in(made_in, 0.0, 0.0) - surface_above_seat_in(fitted_in, 0.0, 0.0),
        front_in=heights[0],
        right_in=heights[RIM_STEPS // 4],
        back_in=heights[RIM_STEPS // 2],
        left_in=heights[3 * RIM_STEPS // 4],
        highest_in=max(heights[highest], _turning_height(made, fitted, highest)),
        lowest_in=min(heights[lowest], _turning_height(made, fitted, lowest)),
        heights_in=heights,
    )


class _RimCurve(NamedTuple):
    """Height of the surface over a bore's seat at a turn t: √(square − front·cos t − right·sin t) − seat_in."""

    square: float
    front: float
    right: float
    seat_in: float
    heights_in: tuple[float, ...]  # at each step of the rim

    def slopes(self, c: float, s: float) -> tuple[float, float, float]:
        """(height, its first, its second derivative by the turn) where cos t = c and sin t = s."""
        cross, across = self.front * c + self.right * s, self.front * s - self.right * c
        height = math.sqrt(self.square - cross)
        first = across / (2 * height)
        return height, first, (cross / 2 - first * first) / height


@lru_cache(maxsize=500)  # every inner in every ball meets the same few bores again and again
def _rim_curve(bore: Bore, reach_in: float, tau: float) -> _RimCurve:
    """The surface over a circle of `reach_in` about the bore's axis, the bore turned by `tau` radians clockwise."""
    radius, seat = radius_in(bore.circumference_in), height_in(bore, "collar") - bore.depth_in
    front = bore.forward_in * math.cos(tau) - bore.right_in * math.sin(tau)
    right = bore.forward_in * math.sin(tau) + bore.right_in * math.cos(tau)
    square = radius**2 - bore.pitch_in**2 - reach_in**2
    front, right = 2 * reach_in * front, 2 * reach_in * right
    heights = tuple(math.sqrt(square - front * c - right * s) - seat for c, s in _RIM_TURNS)
    return _RimCurve(square, front, right, seat, heights)


def _turning_height(made: _RimCurve, fitted: _RimCurve, step: int) -> float:
    """Height of one rim over the other where it turns from rising to falling nearest to a step of the rim.

    Newton's method on the slope, started within half a step of the turn; where both slopes vanish it stays.
    """
    turn = start = step * _STEP
    for _ in range(8):
        c, s = math.cos(turn), math.sin(turn)
        (high, high_first, high_second), (low, low_first, low_second) = made.slopes(c, s), fitted.slopes(c, s)
        bend = high_second - low_second
        move = (high_first - low_first) / bend if bend else 0.0
        if abs(move) < 1e-9 or abs(turn - move - start) > _STEP:
            break
        turn -= move
    return high - low + fitted.seat_in - made.seat_in


def flush_depth_in(made_in: Bore, fitted_in: Bore) -> float:
    """The collar setting in inches at which an inner from `made_in` is flush at its centre in `fitted_in`.

    Only the depth of `fitted_in` is to be chosen; its size, pitch and ball count. What is then left is tilt.
    """
    return fitted_in.depth_in + surface_above_seat_in(made_in, 0.0, 0.0) - surface_above_seat_in(fitted_in, 0.0, 0.0)


UNKNOWN_PITCH_IN = 0.5  # ASSUMED: the largest pitch reckoned with where a bore's pitch is not known; no source
_PITCH_STEPS = 8


def possible_bores(bore: Bore, datum: Datum, pitch_limit_in: float = UNKNOWN_PITCH_IN) -> tuple[Bore, ...]:
    """Every bore, in steps, that `bore` may be when its pitch is not known: 0 to `pitch_limit_in` inches forward.

    `bore.depth_in` was measured from `datum`; each answer's depth is the collar setting that follows at its own
    pitch. Directions are left out, since `flushness_range` turns every bore all the way round. Source: derived.
    """
    pitched = (
        replace(bore, forward_in=pitch_limit_in * i / _PITCH_STEPS, right_in=0.0) for i in range(_PITCH_STEPS + 1)
    )
    return tuple(replace(one, depth_in=collar_depth_in(one, datum)) for one in pitched)


@dataclass(frozen=True)
class FlushnessRange:
    """What a rim may do while something is not known: inches proud (negative = sunk), least and greatest."""

    centre_in: tuple[float, float]
    lowest_in: float
    highest_in: float


def flushness_range(inner_od_in: float, made_in: Sequence[Bore], fitted_in: Sequence[Bore]) -> FlushnessRange:
    """The extremes of `flushness` over each bore where the inner was made, each where it is fitted, and every turn.

    The surface over a circle about a bore's axis is highest and lowest where its pitch points away and towards, so
    each extreme is reached by one of the turns. Raises CannotBuildError as `flushness` does. Source: derived.
    """
    for bore in (*made_in, *fitted_in):
        if inner_od_in > bore.bore_in:
            raise CannotBuildError("inner_od_in", "the inner is wider than the bore")
    reach = inner_od_in / 2
    made, fitted = ([_heights_over(bore, reach) for bore in bores] for bores in (made_in, fitted_in))
    centres = [a[2] - b[2] for a in made for b in fitted]
    return FlushnessRange(
        centre_in=(min(centres), max(centres)),
        lowest_in=min(a[0] for a in made) - max(b[1] for b in fitted),
        highest_in=max(a[1] for a in made) - min(b[0] for b in fitted),
    )


def _heights_over(bore: Bore, reach_in: float) -> tuple[float, float, float]:
    """(lowest, highest) of the surface over the seat around a circle of `reach_in` about the axis, and on the axis."""
    highest = math.atan2(-bore.right_in, -bore.forward_in)
    return (
        surface_above_seat_in(bore, reach_in, highest + math.pi),
        surface_above_seat_in(bore, reach_in, highest),
        surface_above_seat_in(bore, 0.0, 0.0),
    )


def trial_pitch_doubt_in(bore: Bore, pitch_limit_in: float = UNKNOWN_PITCH_IN) -> float:
    """By how many inches the flush depth of a trial fit may be off when nobody knows the inner's own pitch.

    Both the inner's bore and the scrap may then run anywhere from straight to `pitch_limit_in`. Source: derived.
    """
    heights = [_heights_over(one, 0.0)[2] for one in possible_bores(bore, "collar", pitch_limit_in)]
    return max(heights) - min(heights)
