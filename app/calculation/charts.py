"""Control charts of a deviation from target: individuals with moving range, and the exponentially weighted average.

Centre and spread are fixed by the first bores after a set-up; a spread is never taken smaller than the shop's own
doubt in reading a collar.
"""

import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

MOVING_RANGE_D2 = 1.128  # d2 of ranges of two, NIST/SEMATECH e-Handbook 6.3.2.2
MOVING_RANGE_D4 = 3.267  # D4 of ranges of two, NIST/SEMATECH e-Handbook 6.3.2.1
EWMA_WEIGHT = 0.2  # lambda; NIST/SEMATECH e-Handbook 6.3.2.4 recommends 0.2 to 0.3
EWMA_WIDTH = 2.962  # L for an average run length of 500; J. M. Lucas and M. S. Saccucci, Technometrics 32 (1990) 1
SET_UP_READINGS = 8  # the first bores after a set-up, which fix centre and spread; ASSUMED
SET_UP_WIDTH = 3.0  # standard errors that their mean may be off the target; the handbook's three sigma
WILD_WIDTH = 4.0  # standard deviations beyond which one bore is a cause of its own, and counts no further; ASSUMED


@dataclass(frozen=True)
class IndividualsChart:
    """Mean, mean moving range, limits and standard deviation of single readings, in their own unit."""

    mean: float
    mean_moving_range: float
    upper_limit: float
    lower_limit: float
    sigma: float

    @property
    def moving_range_limit(self) -> float:
        """Upper limit of a moving range of two: 3.267 times their mean (D4)."""
        return MOVING_RANGE_D4 * self.mean_moving_range


def individuals_chart(values: Sequence[float]) -> IndividualsChart:
    """The individuals chart of two or more readings: mean ± 3 · mean moving range / 1.128.

    Source: NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2.
    """
    mean = math.fsum(values) / len(values)
    ranges = [abs(b - a) for a, b in pairwise(values)]
    moving = math.fsum(ranges) / len(ranges)
    sigma = moving / MOVING_RANGE_D2
    return IndividualsChart(mean, moving, mean + 3 * sigma, mean - 3 * sigma, sigma)


@dataclass(frozen=True)
class EwmaChart:
    """The weighted averages in order, the limits at each, and the first index beyond them (None: no signal)."""

    averages: tuple[float, ...]
    upper_limits: tuple[float, ...]
    lower_limits: tuple[float, ...]
    first_signal: int | None


def ewma_chart(
    values: Sequence[float],
    target: float,
    sigma: float,
    weight: float = EWMA_WEIGHT,
    width: float = EWMA_WIDTH,
    target_doubt: float = 0.0,
) -> EwmaChart:
    """The exponentially weighted moving average of readings about a target, with limits that widen to their end.

    `weight` is lambda (0..1), `width` L, `sigma` the standard deviation of one reading, `target_doubt` the standard
    uncertainty of the target, in which the average grows by 1 − (1 − lambda)^i.
    Source: NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.4; the target's doubt derived.
    """
    averages, uppers, lowers, signal, average = [], [], [], None, target
    for i, value in enumerate(values, 1):
        average = weight * value + (1 - weight) * average
        drift = target_doubt * (1 - (1 - weight) ** i)
        reach = width * math.hypot(sigma * math.sqrt(weight / (2 - weight) * (1 - (1 - weight) ** (2 * i))), drift)
        averages.append(average)
        uppers.append(target + reach)
        lowers.append(target - reach)
        if signal is None and abs(average - target) > reach:
            signal = i - 1
    return EwmaChart(tuple(averages), tuple(uppers), tuple(lowers), signal)


@dataclass(frozen=True)
class CollarChart:
    """A collar since its set-up: centre and spread fixed by the first bores, and one signal for each cause.

    `is_off_target`: the set-up itself is off. `ewma` follows the bores after the set-up readings: a slip, first seen
    at `slipped_at` (index into all readings). `is_last_wild`: the newest bore alone stands far off.
    """

    centre: float
    sigma: float
    ewma: EwmaChart
    is_off_target: bool
    is_last_wild: bool

    @property
    def slipped_at(self) -> int | None:
        return None if self.ewma.first_signal is None else SET_UP_READINGS + self.ewma.first_signal


def collar_chart(values: Sequence[float], stated_sigma: float) -> CollarChart | None:
    """Charts deviations from target in their own unit; None while there are fewer than the set-up's readings.

    Centre: the mean of the first SET_UP_READINGS; spread: their standard deviation, never less than `stated_sigma`
    (> 0). Neither moves with later bores. Of a steady collar whose spread is no larger than the stated one, 4 in 100
    charts signal falsely within 50 bores; a slip of twice the spread is told after 4 bores (median), of three times
    after 2. With centre and spread known the average run length would be 500, and 10.5 and 3.7 at a slip of once and
    twice the spread. Source: as `EWMA_WIDTH`; L. A. Jones, C. W. Champ, S. E. Rigdon, Technometrics 43 (2001) 156, on
    estimated centre and spread; the figures are simulated in the tests.
    """
    if len(values) < SET_UP_READINGS:
        return None
    first, later = values[:SET_UP_READINGS], values[SET_UP_READINGS:]
    centre, sigma = math.fsum(first) / len(first), max(statistics.stdev(first), stated_sigma)
    doubt = sigma / math.sqrt(len(first))
    wild = WILD_WIDTH * math.hypot(sigma, doubt)
    held = [min(max(value, centre - wild), centre + wild) for value in later]
    ewma = ewma_chart(held, centre, sigma, target_doubt=doubt)
    is_last_wild = bool(later) and abs(later[-1] - centre) > wild
    return CollarChart(centre, sigma, ewma, abs(centre) > SET_UP_WIDTH * doubt, is_last_wild)
