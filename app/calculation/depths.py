"""What trial fits say of a bore's depth, with how sure that is, at any degrees of freedom."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from statistics import NormalDist

from app.calculation.errors import CannotBuildError

COVERAGE = 0.95
NORMAL_FACTOR = 1.96  # two-sided 95 % of a normal distribution, as usually rounded; JCGM 100:2008 table G.1


@dataclass(frozen=True)
class TrialReading:
    """One trial fit: at collar setting `trial_depth_in` the inner stood `proud_in` above the ball; sunk is negative."""

    trial_depth_in: float
    proud_in: float


@dataclass(frozen=True)
class KnownDepth:
    """One observed collar depth and its standard uncertainty, inches, 0 or more.

    Observations that name the same `ball` share that ball's depth; None is a ball of its own.
    """

    depth_in: float
    standard_uncertainty_in: float
    ball: int | None = None


@dataclass(frozen=True)
class DepthEstimate:
    """A collar depth in inches, its standard uncertainty, the 95 % interval and how many readings it rests on.

    `freedom` is the degrees of freedom of the uncertainty; infinite where it counts as known.
    """

    depth_in: float
    standard_uncertainty_in: float
    interval_in: tuple[float, float]
    readings: int
    freedom: float = math.inf


_AS_GOOD_AS_KNOWN = 1e8  # degrees of freedom; the factor differs from the normal's by less than 1e-7


@lru_cache(maxsize=4096)
def student_factor(degrees_of_freedom: float, coverage: float = COVERAGE) -> float:
    """Two-sided Student t factor for `coverage` (0..1) at real `degrees_of_freedom` > 0; infinity gives the normal.

    Source: JCGM 100:2008 G.3 and table G.2; t from the inverse of the regularised incomplete beta function.
    """
    if degrees_of_freedom > _AS_GOOD_AS_KNOWN:
        return NormalDist().inv_cdf((1 + coverage) / 2)
    import mpmath  # noqa: PLC0415 - a fifth of a second at every start, and few pages need it

    half = degrees_of_freedom / 2
    t, peak = student_factor(math.inf, coverage), mpmath.beta(half, 0.5) * math.sqrt(degrees_of_freedom)
    while True:  # the tail is convex: Newton's steps from the normal's factor rise to the answer and never pass it
        x = degrees_of_freedom / (degrees_of_freedom + t * t)
        over = mpmath.betainc(half, 0.5, 0, x, regularized=True) - (1 - coverage)
        step = float(over * peak * x ** -(half + 0.5) / 2)
        t += step
        if step < 1e-12 * t:
            return t


def effective_freedom(parts: Sequence[tuple[float, float]]) -> float:
    """Degrees of freedom of a combined uncertainty from its (standard uncertainty, degrees of freedom) parts.

    Infinite where no part with finite degrees of freedom contributes. Source: Welch and Satterthwaite, JCGM 100:2008
    G.4.1, equation (G.2b).
    """
    variance = math.fsum(u * u for u, _ in parts)
    shares = math.fsum(u**4 / freedom for u, freedom in parts)
    return variance**2 / shares if shares > 0 else math.inf


def as_if_known(standard_uncertainty_in: float, freedom: float) -> float:
    """The standard uncertainty with infinite freedom (inches) that has the same 95 % interval; `freedom` > 0."""
    return standard_uncertainty_in * student_factor(freedom) / student_factor(math.inf)


STARTING_FREEDOM = 8.0  # ASSUMED: what a repeatability that no gauge study stands behind is worth


def trial_fit_depth(
    readings: Sequence[TrialReading],
    resolution_in: float,
    repeatability_in: float,
    repeatability_freedom: float = STARTING_FREEDOM,
) -> DepthEstimate:
    """The depth at which the visiting inner would be flush, at the pitch of the trial bore.

    Wanted depth of one reading: trial depth plus how far the inner stood proud; of several, their mean. The reader's
    repeatability (standard deviation of one reading, known with `repeatability_freedom` > 0) is pooled with the
    readings' own spread; u² = pooled²/n + resolution²/12, interval by Welch–Satterthwaite and Student t, also for one
    reading. Resolution and repeatability are inches, 0 or more.
    Source: JCGM 100:2008, 4.2.4 (pooled estimate), F.2.2.1 and G.4.
    """
    if not readings:
        raise CannotBuildError("readings", "give at least one reading")
    wanted = [r.trial_depth_in + r.proud_in for r in readings]
    count, mean = len(wanted), math.fsum(wanted) / len(wanted)
    squares = math.fsum((w - mean) ** 2 for w in wanted)
    freedom = repeatability_freedom + count - 1
    pooled = (repeatability_freedom * repeatability_in**2 + squares) / freedom
    u, effective = _with_rounding(pooled / count, freedom, resolution_in)
    half = student_factor(effective) * u
    return DepthEstimate(mean, u, (mean - half, mean + half), count, effective)


def half_width_after_one_more(
    estimate: DepthEstimate, resolution_in: float, repeatability_freedom: float = STARTING_FREEDOM
) -> float:
    """The half width, in inches, that a trial fit's interval would have after one more reading like those so far.

    Source: JCGM 100:2008 G.4, as `trial_fit_depth`.
    """
    count = estimate.readings
    pooled = max(0.0, estimate.standard_uncertainty_in**2 - resolution_in**2 / 12) * count
    u, effective = _with_rounding(pooled / (count + 1), repeatability_freedom + count, resolution_in)
    return student_factor(effective) * u


def _with_rounding(variance: float, freedom: float, resolution_in: float) -> tuple[float, float]:
    """Standard uncertainty and effective freedom of a mean's variance together with the division's own."""
    rounding = resolution_in**2 / 12
    parts = ((math.sqrt(variance), freedom), (math.sqrt(rounding), math.inf))
    return math.sqrt(variance + rounding), effective_freedom(parts)
