"""The bore that an inner already made needs in another ball: its pitch, turn and depth, felt first or flush first."""

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

from app.calculation.bores import Bore, flushness
from app.calculation.inners import FeltPitch, felt_oval_deg, felt_pitch

_COARSE_DEG = 10
_FINE_DEG = 0.001
_ALIKE_IN = 1e-7  # lips that differ by less are alike, and the smaller turn is taken
_GOLDEN = (math.sqrt(5) - 1) / 2


@dataclass(frozen=True)
class CollarDepth:
    """The collar setting at which an inner's highest and lowest lip are equal and opposite. Inches, proud positive."""

    depth_in: float
    turn_deg: float
    centre_in: float
    highest_in: float
    lowest_in: float


@dataclass(frozen=True)
class OwnedInner:
    """A thumb piece as it is: outside, the bore it was trimmed flush in, and its hole's tilt and oval at turn 0.

    Inches, thumb signs; `oval_deg` clockwise from the front, None for a round hole.
    """

    outside_in: float
    made_in: Bore
    forward_in: float = 0.0
    right_in: float = 0.0
    oval_deg: float | None = None


@dataclass(frozen=True)
class FittedInner:
    """A bore for an owned inner, the turn of its notch from the one it was made with, and what is then felt."""

    bore: Bore
    collar: CollarDepth
    felt: FeltPitch
    oval_deg: float | None


def collar_depth(inner_od_in: float, made_in: Bore, fitted_in: Bore, turn_deg: float | None = 0.0) -> CollarDepth:
    """The collar setting in `fitted_in` with equal and opposite highest and lowest lips.

    `fitted_in.depth_in` is not used. `turn_deg` is clockwise; None asks for the turn in (-180, 180] with the smallest
    lips, nearest to 0 where several have them. Raises CannotBuildError as `flushness` does. Source: derived; a bore
    that is deeper by d lowers the whole rim by d.
    """
    if turn_deg is not None:
        return _balance_lips(inner_od_in, made_in, fitted_in, turn_deg)

    def lips(turn: float) -> float:
        return _balance_lips(inner_od_in, made_in, fitted_in, turn).highest_in

    return _balance_lips(inner_od_in, made_in, fitted_in, _best_turn(lips))


def _balance_lips(inner_od_in: float, made_in: Bore, fitted_in: Bore, turn_deg: float) -> CollarDepth:
    rim = flushness(inner_od_in, made_in, fitted_in, turn_deg)
    change = (rim.highest_in + rim.lowest_in) / 2
    lip = (rim.highest_in - rim.lowest_in) / 2
    return CollarDepth(fitted_in.depth_in + change, turn_deg, rim.centre_in - change, lip, -lip)


def _best_turn(cost: Callable[[float], float]) -> float:
    """The turn in degrees, (-180, 180], with the least `cost`; the one nearest to 0 of those that cost alike."""
    turns = sorted(range(-180, 180, _COARSE_DEG), key=abs)
    costs = {turn: cost(turn) for turn in turns}
    best = min(turns, key=lambda t: costs[t])
    low, high = float(best - _COARSE_DEG), float(best + _COARSE_DEG)
    left, right = high - _GOLDEN * (high - low), low + _GOLDEN * (high - low)
    at_left, at_right = cost(left), cost(right)
    while high - low > _FINE_DEG:
        if at_left <= at_right:
            high, right, at_right = right, left, at_left
            left = high - _GOLDEN * (high - low)
            at_left = cost(left)
        else:
            low, left, at_left = left, right, at_right
            right = low + _GOLDEN * (high - low)
            at_right = cost(right)
    fine = (low + high) / 2
    least = cost(fine)
    alike = [turn for turn in turns if costs[turn] <= least + _ALIKE_IN]
    found = float(alike[0]) if alike else fine
    return 180 - (180 - found) % 360


def fit_by_feel(inner: OwnedInner, bore: Bore, felt: FeltPitch, oval_deg: float | None) -> FittedInner:
    """The bore in which this inner feels as asked, its notch turned so that its oval lies at `oval_deg` as asked.

    Size and ball are those of `bore`. A round inner, or a fit without an oval, leaves the turn free, and an oval
    leaves two turns: those with the smallest lips are taken. Felt pitch in inches, thumb signs.
    """

    def fit(turn: float) -> FittedInner:
        forward, right = bore_pitch_for_felt(bore.circumference_in, felt, inner, turn)
        return _fit(inner, replace(bore, forward_in=forward, right_in=right), turn)

    return fit(_choose_turn(inner, oval_deg, lambda turn: fit(turn).collar.highest_in))


def fit_flush(inner: OwnedInner, bore: Bore, felt: FeltPitch, oval_deg: float | None) -> FittedInner:
    """The bore in which this inner lies flush all round: pitched as the one it was made in, turned with the notch.

    Size and ball are those of `bore`. The turn brings the oval to `oval_deg`; where it is free or has two values,
    that with the felt pitch nearest to `felt` is taken. What it feels like is told, not promised.
    """

    def fit(turn: float) -> FittedInner:
        c, s = math.cos(math.radians(turn)), math.sin(math.radians(turn))
        forward, right = inner.made_in.forward_in, inner.made_in.right_in
        turned = replace(bore, forward_in=forward * c - right * s, right_in=right * c + forward * s)
        return _fit(inner, turned, turn)

    def miss(turn: float) -> float:
        got = fit(turn).felt
        return math.hypot(got.forward_in - felt.forward_in, got.right_in - felt.right_in)

    return fit(_choose_turn(inner, oval_deg, miss))


def bore_pitch_for_felt(
    circumference_in: float, felt: FeltPitch, inner: OwnedInner, turn_deg: float
) -> tuple[float, float]:
    """(forward, right) pitch in inches of the bore in which the inner, turned clockwise, is felt as `felt`.

    Each step adds what is still missing: two tilts add up but for terms of the third order, so that the error
    shrinks by a hundred at each. Raises CannotBuildError where such a bore misses the ball.
    """
    forward, right = felt.forward_in, felt.right_in
    for _ in range(60):
        got = felt_pitch(circumference_in, forward, right, inner.forward_in, inner.right_in, turn_deg)
        missing = felt.forward_in - got.forward_in, felt.right_in - got.right_in
        forward, right = forward + missing[0], right + missing[1]
        if math.hypot(*missing) < 1e-13:
            break
    return forward, right


def inner_tilt_for_felt(bore: Bore, felt: FeltPitch) -> tuple[float, float]:
    """(forward, right) tilt in inches of a hole inside its inner that is felt as `felt` in `bore`, at turn 0.

    The inverse of `felt_pitch`, found as in `bore_pitch_for_felt`. Raises CannotBuildError where there is none.
    """
    forward, right = felt.forward_in - bore.forward_in, felt.right_in - bore.right_in
    for _ in range(60):
        got = felt_pitch(bore.circumference_in, bore.forward_in, bore.right_in, forward, right)
        missing = felt.forward_in - got.forward_in, felt.right_in - got.right_in
        forward, right = forward + missing[0], right + missing[1]
        if math.hypot(*missing) < 1e-13:
            break
    return forward, right


def _fit(inner: OwnedInner, bore: Bore, turn: float) -> FittedInner:
    collar = _balance_lips(inner.outside_in, inner.made_in, bore, turn)
    felt = felt_pitch(bore.circumference_in, bore.forward_in, bore.right_in, inner.forward_in, inner.right_in, turn)
    oval = None if inner.oval_deg is None else felt_oval_deg(inner.oval_deg, turn)
    return FittedInner(replace(bore, depth_in=collar.depth_in), collar, felt, oval)


def _choose_turn(inner: OwnedInner, oval_deg: float | None, cost: Callable[[float], float]) -> float:
    """The turn that `cost` likes best among those that bring the inner's oval to `oval_deg`."""
    if inner.oval_deg is None or oval_deg is None:
        return _best_turn(cost)
    near = 90 - (90 - (oval_deg - inner.oval_deg)) % 180
    other = near - 180 if near > 0 else near + 180
    return other if cost(other) < cost(near) - _ALIKE_IN else near
