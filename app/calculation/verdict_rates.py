"""How often a verdict comes out right at given limits: good work that is green, and faults that are passed.

Pure arithmetic of the same rules that judge: `tolerances.repeated_reading` gives the interval of every look,
`tolerances.deviation` and `judge_rim` settle where it is on one side of the limit. Readings scatter normally about the
true value, with the standard uncertainty that the shop states for them; readings of two lengths are independent.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from statistics import NormalDist

from app.calculation.tolerances import reading_half_width_in, repeated_reading

WORK_IN = 1 / 128  # ASSUMED: ordinary work is anywhere within this of what was planned, either way
FAULT_IN = 1 / 32  # ASSUMED: a fault that must not pass is this far beyond the limit
_NORMAL = NormalDist()
_REACH, _STEPS = 6.0, 120  # of the difference of two readings, standard deviations; changes no share by more than 1e-4
_SLICES = 32  # of the second bore's depth

Interval = tuple[float, float]


@dataclass(frozen=True)
class VerdictRates:
    """Shares, 0 to 1: of ordinary work `green_once` on the first look, `green` and `again` (not settled) at the last.

    `missed` is the share of faults, FAULT_IN beyond the limit, that are green at the last look.
    """

    green_once: float
    green: float
    again: float
    missed: float


@dataclass(frozen=True)
class _Chances:
    """Of one finger: within and settled, at the first look and the second; `both_…`: then, and settled before."""

    within_1: float
    settled_1: float
    within_2: float
    settled_2: float
    both_within: float
    both_settled: float


@lru_cache(maxsize=200)
def drilling_rates(tolerance_in: float, doubt_in: float, freedom: float = math.inf) -> VerdictRates:
    """Rates of a drilling's verdict from one pair of readings, and a second pair where the first does not settle.

    `tolerance_in` ≥ 0; `doubt_in` > 0 is the standard uncertainty of one reading, and its true spread; `freedom` its
    degrees of freedom. Both fingers have to be settled and within; both are worked uniformly within WORK_IN. Of a
    fault one finger is FAULT_IN beyond the tolerance. Numerical quadrature over the difference of a finger's two
    readings, exact in their mean. Source: derived; total probability.
    """
    good = _find_chances(tolerance_in, doubt_in, freedom, 0.0, WORK_IN)
    fault = _find_chances(tolerance_in, doubt_in, freedom, tolerance_in + FAULT_IN, 0.0)
    unsettled = 1 - good.settled_1**2
    return VerdictRates(
        green_once=good.within_1**2,
        green=_end_within(good, good),
        again=max(0.0, unsettled - (good.settled_2**2 - good.both_settled**2)),
        missed=_end_within(good, fault),
    )


def rim_rates(lip_in: float, doubt_in: float) -> VerdictRates:
    """Rates of the verdict on an inner in another bore of the same pitch, each depth read once.

    `lip_in` ≥ 0; `doubt_in` > 0 is the standard uncertainty of each of the two depths, and its true spread. Both bores
    are worked uniformly within WORK_IN. A fault stands FAULT_IN beyond the lip. Source: derived.
    """
    spread = math.sqrt(2) * doubt_in
    half = reading_half_width_in(spread)
    shifts = [WORK_IN * ((2 * i + 1) / _SLICES - 1) for i in range(_SLICES)]
    flush = math.fsum(_chance(_within(lip_in, half), s, WORK_IN, spread) for s in shifts) / _SLICES
    settled = math.fsum(_chance(_settled(lip_in, half), s, WORK_IN, spread) for s in shifts) / _SLICES
    missed = _chance(_within(lip_in, half), lip_in + FAULT_IN, 0.0, spread)
    return VerdictRates(flush, flush, max(0.0, 1 - settled), missed)


def _end_within(one: _Chances, other: _Chances) -> float:
    """The share of drillings, of two independent fingers, that end green: at once, or by a second pair."""
    by_second = one.within_2 * other.within_2 - one.both_within * other.both_within
    return one.within_1 * other.within_1 + max(0.0, by_second)


def _find_chances(tolerance_in: float, doubt_in: float, freedom: float, centre_in: float, work_in: float) -> _Chances:
    first = repeated_reading([0.0], doubt_in, freedom).half_width_in
    within_1, settled_1 = _within(tolerance_in, first), _settled(tolerance_in, first)
    sums = [0.0] * 4
    for i in range(_STEPS + 1):
        z = _REACH * (2 * i / _STEPS - 1)
        apart = z * doubt_in * math.sqrt(2)  # of the first reading from the second; their mean is independent of it
        second = repeated_reading([apart / 2, -apart / 2], doubt_in, freedom).half_width_in
        before = [(low - apart / 2, high - apart / 2) for low, high in settled_1]
        within, settled = _within(tolerance_in, second), _settled(tolerance_in, second)
        events = (within, settled, _overlap(within, before), _overlap(settled, before))
        weight = _NORMAL.pdf(z) * 2 * _REACH / _STEPS
        for k, event in enumerate(events):
            sums[k] += weight * _chance(event, centre_in, work_in, doubt_in / math.sqrt(2))
    once = (_chance(intervals, centre_in, work_in, doubt_in) for intervals in (within_1, settled_1))
    return _Chances(*once, *sums)


def _within(limit_in: float, half_width_in: float) -> list[Interval]:
    inside = limit_in - half_width_in
    return [(-inside, inside)] if inside > 0 else []


def _settled(limit_in: float, half_width_in: float) -> list[Interval]:
    outside = limit_in + half_width_in
    return [(-math.inf, -outside), *_within(limit_in, half_width_in), (outside, math.inf)]


def _overlap(these: Sequence[Interval], those: Sequence[Interval]) -> list[Interval]:
    pairs = ((max(a, c), min(b, d)) for a, b in these for c, d in those)
    return [(low, high) for low, high in pairs if low < high]


def _chance(intervals: Sequence[Interval], centre_in: float, work_in: float, spread_in: float) -> float:
    """The chance that a reading of `spread_in` falls in the intervals, of a length uniform about its centre."""
    return math.fsum(
        _cumulate(high - centre_in, work_in, spread_in) - _cumulate(low - centre_in, work_in, spread_in)
        for low, high in intervals
    )


def _cumulate(x: float, work_in: float, spread_in: float) -> float:
    """Φ((x − δ)/spread) averaged over δ from −work to +work: the integral of Φ is z·Φ(z) + φ(z)."""
    if math.isinf(x):
        return 1.0 if x > 0 else 0.0
    if not work_in:
        return _NORMAL.cdf(x / spread_in)
    high, low = (x + work_in) / spread_in, (x - work_in) / spread_in
    area = high * _NORMAL.cdf(high) + _NORMAL.pdf(high) - low * _NORMAL.cdf(low) - _NORMAL.pdf(low)
    return area * spread_in / (2 * work_in)
