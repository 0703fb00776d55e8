"""Control charts of a deviation from target: individuals with moving range, and the exponentially weighted average."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

MOVING_RANGE_D2 = 1.128  # d2 of ranges of two, NIST/SEMATECH e-Handbook 6.3.2.2
MOVING_RANGE_D4 = 3.267  # D4 of ranges of two, NIST/SEMATECH e-Handbook 6.3.2.1
EWMA_WEIGHT = 0.2  # lambda; NIST/SEMATECH e-Handbook 6.3.2.4 recommends 0.2 to 0.3
EWMA_WIDTH = 2.7  # L, in standard deviations, for this weight
FEWEST_POINTS = 8


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
    values: Sequence[float], target: float, sigma: float, weight: float = EWMA_WEIGHT, width: float = EWMA_WIDTH
) -> EwmaChart:
    """The exponentially weighted moving average of readings about a target, with limits that widen to their end.

    `weight` is lambda (0..1), `width` L, `sigma` the standard deviation of one reading.
    Source: NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.4.
    """
    averages, uppers, lowers, signal, average = [], [], [], None, target
    for i, value in enumerate(values, 1):
        average = weight * value + (1 - weight) * average
        reach = width * sigma * math.sqrt(weight / (2 - weight) * (1 - (1 - weight) ** (2 * i)))
        averages.append(average)
        uppers.append(target + reach)
        lowers.append(target - reach)
        if signal is None and abs(average - target) > reach:
            signal = i - 1
    return EwmaChart(tuple(averages), tuple(uppers), tuple(lowers), signal)
