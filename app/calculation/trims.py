"""Where to trim an inner that has to sit in several balls."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from app.calculation.bores import Bore, surface_above_seat_in


@dataclass(frozen=True)
class Trim:
    """How much lower to trim (inches, 0 or more), and the worst lip over all balls before and after, inches."""

    trim_in: float
    worst_before_in: float
    worst_after_in: float


def best_trim(rims: Sequence[tuple[float, float]]) -> Trim:
    """The trim that makes the worst lip least, from (lowest, highest) of the rim in each ball, inches proud.

    Trimming lowers every rim alike and cannot be undone; it helps only while the proudest place is further from
    flush than the lowest. The best is half way between the two. Source: derived; minimax of two lines.
    """
    lowest, highest = min(low for low, _ in rims), max(high for _, high in rims)
    trim = max(0.0, (highest + lowest) / 2)
    return Trim(trim, max(highest, -lowest), trim - lowest)  # trimmed so far, the lowest place is the worst or as bad


@dataclass(frozen=True)
class NewInner:
    """A new inner for several balls: height against the old trim (inches, lower positive), notch, worst lip."""

    lower_in: float
    notch_turn_deg: float
    worst_in: float


_SAMPLES = 72
_ROUNDS = 40


def best_new_inner(inner_od_in: float, made_in: Bore, fitted: Sequence[tuple[Bore, float]]) -> NewInner:
    """The height and notch of a new inner, trimmed like the old one, that make the worst lip over all balls least.

    `fitted` holds each ball's bore and the turn the old inner takes in it, degrees clockwise. The notch is searched
    every 5 degrees on sampled rims and then by golden section; for each notch the best height is half way between
    the highest and the lowest place of all rims. Source: derived.
    """
    step = 2 * math.pi / _SAMPLES
    reach = inner_od_in / 2
    floors = [[surface_above_seat_in(bore, reach, i * step) for i in range(_SAMPLES)] for bore, _ in fitted]

    def extremes(turn_deg: float) -> tuple[float, float]:
        low, high = math.inf, -math.inf
        for (_, turned), floor in zip(fitted, floors, strict=True):
            shift = math.radians(turned + turn_deg)
            for i in range(_SAMPLES):
                lip = surface_above_seat_in(made_in, reach, i * step - shift) - floor[i]
                low, high = min(low, lip), max(high, lip)
        return low, high

    def spread(turn_deg: float) -> float:
        low, high = extremes(turn_deg)
        return high - low

    start = min(_coarse(inner_od_in, made_in, fitted, floors), key=lambda pair: pair[1])[0]
    near, far = start - 5.0, start + 5.0
    ratio = (math.sqrt(5) - 1) / 2
    for _ in range(_ROUNDS):
        a, b = far - ratio * (far - near), near + ratio * (far - near)
        if spread(a) < spread(b):
            far = b
        else:
            near = a
        if far - near < 0.02:
            break
    turn = (near + far) / 2
    low, high = extremes(turn)
    return NewInner((high + low) / 2, turn % 360, (high - low) / 2)


def _coarse(
    inner_od_in: float, made_in: Bore, fitted: Sequence[tuple[Bore, float]], floors: Sequence[Sequence[float]]
) -> list[tuple[float, float]]:
    """(notch turn, lowest lip to highest) every 5 degrees, by shifting one sampled rim against the others."""
    step = 2 * math.pi / _SAMPLES
    rims = []
    for _, turned in fitted:
        rims.append(
            [surface_above_seat_in(made_in, inner_od_in / 2, i * step - math.radians(turned)) for i in range(_SAMPLES)]
        )
    found = []
    for shift in range(_SAMPLES):
        lips = [
            rim[(i - shift) % _SAMPLES] - floor[i]
            for rim, floor in zip(rims, floors, strict=True)
            for i in range(_SAMPLES)
        ]
        found.append((shift * 360 / _SAMPLES, max(lips) - min(lips)))
    return found
