"""Exact intervals for a share and for a median, that hold their coverage for every count however small.

Sources: C. J. Clopper and E. S. Pearson, "The use of confidence or fiducial limits illustrated in the case of the
binomial", Biometrika 26 (1934), 404-413, whose limits solve P(X >= k | low) = P(X <= k | high) = (1 - coverage) / 2.
The median between order statistics: H. A. David and H. N. Nagaraja, Order Statistics, 3rd ed., section 7.1.
"""

import math
from functools import lru_cache

COVERAGE = 0.95
_LEAST = 1e-18  # of a sum: a term that changes nothing any more


@lru_cache(maxsize=1024)
def binomial_interval(successes: int, n: int, coverage: float = COVERAGE) -> tuple[float, float]:
    """The two-sided interval of the share (0..1) that `successes` of `n` >= 1 tell; raises ValueError."""
    if not 0 <= successes <= n or n < 1 or not 0 < coverage < 1:
        raise ValueError("Successes are from 0 to n, n is at least 1, and the coverage lies between 0 and 1.")
    tail = (1 - coverage) / 2
    low = _find_low(tail, successes, n) if successes else 0.0
    high = 1 - _find_low(tail, n - successes, n) if successes < n else 1.0  # of the failures, the other way round
    return low, high


def _find_low(tail: float, k: int, n: int) -> float:
    """The share at which `k` >= 1 successes or more of `n` come with the chance `tail` < 1/2.

    It lies below k / n, where that chance is at least a half, since k is then the median too.
    """
    below, above = 0.0, k / n
    while below < (middle := (below + above) / 2) < above:
        if _sum_upper_tail(k, n, middle) < tail:
            below = middle
        else:
            above = middle
    return above


def _sum_upper_tail(k: int, n: int, share: float) -> float:
    """P(X >= k) of `n` trials at a share below k / n, so that each term is less than the one before it."""
    term = math.exp(_log_choices(n, k) + k * math.log(share) + (n - k) * math.log1p(-share))
    whole, odds = 0.0, share / (1 - share)
    for successes in range(k, n + 1):
        whole += term
        term *= (n - successes) / (successes + 1) * odds
        if term <= _LEAST * whole:
            break
    return whole


@lru_cache(maxsize=1024)
def _log_choices(n: int, k: int) -> float:
    return math.log(math.comb(n, k))


@lru_cache(maxsize=1024)
def median_ranks(n: int, coverage: float = COVERAGE) -> tuple[int, int] | None:
    """The ranks (1..n) of the ordered values between which the median lies with `coverage`, the same from both ends.

    None where even the least and the greatest of `n` values do not cover it.
    """
    tail, below = (1 - coverage) / 2, 0.0
    rank = 0
    for successes in range(n // 2):
        below += math.exp(_log_choices(n, successes) - n * math.log(2))
        if below > tail:
            break
        rank = successes + 1
    return (rank, n + 1 - rank) if rank else None
