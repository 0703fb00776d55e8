"""Exact intervals for a share and for a median, that hold their coverage for every count however small.

Sources: C. J. Clopper and E. S. Pearson, "The use of confidence or fiducial limits illustrated in the case of the
binomial", Biometrika 26 (1934), 404-413, whose limits solve P(X >= k | low) = P(X <= k | high) = (1 - coverage) / 2;
the tail of the binomial as a regularised incomplete beta function: NIST Digital Library of Mathematical Functions,
8.17.5. The median between order statistics: H. A. David and H. N. Nagaraja, Order Statistics, 3rd ed., section 7.1.
"""

import math
from functools import lru_cache

COVERAGE = 0.95
_DIGITS = 20  # decimal, enough for tails of thousands of trials


@lru_cache(maxsize=1024)
def binomial_interval(successes: int, n: int, coverage: float = COVERAGE) -> tuple[float, float]:
    """The two-sided interval of the share (0..1) that `successes` of `n` >= 1 tell; raises ValueError."""
    if not 0 <= successes <= n or n < 1 or not 0 < coverage < 1:
        raise ValueError("Successes are from 0 to n, n is at least 1, and the coverage lies between 0 and 1.")
    tail = (1 - coverage) / 2
    low = _find_beta_quantile(tail, successes, n - successes + 1) if successes else 0.0
    high = _find_beta_quantile(1 - tail, successes + 1, n - successes) if successes < n else 1.0
    return low, high


def _find_beta_quantile(share: float, a: int, b: int) -> float:
    """The x in 0..1 at which the regularised incomplete beta function of a, b >= 1 is `share`."""
    import mpmath  # noqa: PLC0415 - a fifth of a second at every start, and few pages need it

    with mpmath.workdps(_DIGITS):
        ends = (mpmath.mpf(0), mpmath.mpf(1))
        root = mpmath.findroot(
            lambda x: mpmath.betainc(a, b, 0, x, regularized=True) - share, ends, solver="anderson", maxsteps=500
        )
        return float(root)


@lru_cache(maxsize=1024)
def median_ranks(n: int, coverage: float = COVERAGE) -> tuple[int, int] | None:
    """The ranks (1..n) of the ordered values between which the median lies with `coverage`, the same from both ends.

    None where even the least and the greatest of `n` values do not cover it.
    """
    tail, below = (1 - coverage) / 2, 0.0
    rank = 0
    for successes in range(n // 2):
        below += math.exp(_log_half_binomial(successes, n))
        if below > tail:
            break
        rank = successes + 1
    return (rank, n + 1 - rank) if rank else None


def _log_half_binomial(k: int, n: int) -> float:
    """The logarithm of the chance of `k` heads in `n` throws of a fair coin."""
    return math.lgamma(n + 1) - math.lgamma(k + 1) - math.lgamma(n - k + 1) - n * math.log(2)
