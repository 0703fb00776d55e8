"""Reading another shop off a loose inner: its bore's depth and pitch from the heights of the trimmed rim."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from app.calculation.bores import Bore, check_bore, surface_above_seat_in
from app.calculation.depths import NORMAL_FACTOR
from app.calculation.errors import CannotBuildError

CLOCKS_DEG = (0.0, 90.0, 180.0, 270.0)  # 12, 3, 6 and 9 o'clock, from the front clockwise
MISFIT_LIMIT = 2.576  # standard deviations: one honest set of heights in a hundred; JCGM 100:2008 table G.1, 99 %
_ROUNDS = 40
_STEP_IN = 1e-6


@dataclass(frozen=True)
class LooseInner:
    """The bore an inner was trimmed in, inches, with standard uncertainties and the worst misfit of a reading.

    `misfit_spreads`: the one combination of the four heights that no bore explains, in standard deviations.
    """

    depth_in: float
    forward_in: float
    right_in: float
    depth_u_in: float
    pitch_u_in: float
    misfit_in: float
    misfit_spreads: float

    @property
    def is_one_clean_cut(self) -> bool:
        """Whether the four heights agree with one bore within their own doubt."""
        return self.misfit_spreads <= MISFIT_LIMIT

    @property
    def depth_interval_in(self) -> tuple[float, float]:
        """95 % interval of the depth, k = 1.96 of a known reading spread."""
        half = NORMAL_FACTOR * self.depth_u_in
        return self.depth_in - half, self.depth_in + half


def loose_inner(
    heights_in: Sequence[float], inner_od_in: float, circumference_in: float, bore_in: float, spread_in: float
) -> LooseInner:
    """Depth and pitch of the bore in which an inner was trimmed flush, from its rim's heights above its seat.

    `heights_in` at 12, 3, 6 and 9 o'clock in the inner's lock frame; `spread_in` the standard deviation of one height
    (inches, > 0). Least squares by Gauss and Newton in (depth, forward, right); uncertainties from the normal
    equations, JCGM 100:2008 5.1. Raises CannotBuildError where no bore has such a rim. Source: derived.
    """
    if len(heights_in) != len(CLOCKS_DEG):
        raise CannotBuildError("heights", "give four heights, at 12, 3, 6 and 9 o'clock")
    x = [sum(heights_in) / 4, 0.0, 0.0]
    reach = inner_od_in / 2

    def rim(values: Sequence[float]) -> list[float]:
        bore = Bore(circumference_in, bore_in, values[0], values[1], values[2])
        return [surface_above_seat_in(bore, reach, math.radians(c)) for c in CLOCKS_DEG]

    for _ in range(_ROUNDS):
        here = rim(x)
        slopes = [_slope(rim, x, here, i) for i in range(3)]
        step = _normal_step(slopes, [h - r for h, r in zip(heights_in, here, strict=True)])
        x = [a + b for a, b in zip(x, step, strict=True)]
        if math.hypot(x[1], x[2]) > 2.0:
            raise CannotBuildError("heights", "no bore has a rim of these heights")
        if math.hypot(*step) < 1e-12:
            break
    check_bore(Bore(circumference_in, bore_in, x[0], x[1], x[2]))
    here = rim(x)
    inverse = _inverse(_normal([_slope(rim, x, here, i) for i in range(3)]))
    misfits = [h - r for h, r in zip(heights_in, here, strict=True)]
    pitch_u = spread_in * math.sqrt(max(inverse[1][1], inverse[2][2]))
    depth_u = spread_in * math.sqrt(inverse[0][0])
    return LooseInner(x[0], x[1], x[2], depth_u, pitch_u, max(map(abs, misfits)), math.hypot(*misfits) / spread_in)


def _slope(
    rim: Callable[[Sequence[float]], list[float]], x: Sequence[float], here: Sequence[float], i: int
) -> list[float]:
    moved = [v + (_STEP_IN if j == i else 0.0) for j, v in enumerate(x)]
    return [(a - b) / _STEP_IN for a, b in zip(rim(moved), here, strict=True)]


def _normal(slopes: Sequence[Sequence[float]]) -> list[list[float]]:
    return [[math.fsum(a * b for a, b in zip(r, c, strict=True)) for c in slopes] for r in slopes]


def _normal_step(slopes: Sequence[Sequence[float]], rest: Sequence[float]) -> list[float]:
    right = [math.fsum(a * b for a, b in zip(s, rest, strict=True)) for s in slopes]
    return [math.fsum(a * b for a, b in zip(row, right, strict=True)) for row in _inverse(_normal(slopes))]


def _inverse(m: Sequence[Sequence[float]]) -> list[list[float]]:
    """The inverse of a 3 × 3 matrix by its cofactors."""
    cofactors = [
        [
            m[(i + 1) % 3][(j + 1) % 3] * m[(i + 2) % 3][(j + 2) % 3]
            - m[(i + 1) % 3][(j + 2) % 3] * m[(i + 2) % 3][(j + 1) % 3]
            for j in range(3)
        ]
        for i in range(3)
    ]
    size = math.fsum(m[0][j] * cofactors[0][j] for j in range(3))
    return [[cofactors[j][i] / size for j in range(3)] for i in range(3)]
