"""What trial fits and other readings say of a shop's bore depth, with how sure that is."""

import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import mpmath

from app.calculation.errors import CannotBuildError

COVERAGE = 0.95
NORMAL_FACTOR = 1.96  # two-sided 95 % of a normal distribution, as usually rounded; JCGM 100:2008 table G.1


@dataclass(frozen=True)
class TrialReading:
    """One trial fit: at collar setting `trial_depth_in` the inner stood `proud_in` above the ball; sunk is negative."""

    trial_depth_in: float
    proud_in: float


@dataclass(frozen=True)
class DepthEstimate:
    """A collar depth in inches, its standard uncertainty, the 95 % interval and how many readings it rests on."""

    depth_in: float
    standard_uncertainty_in: float
    interval_in: tuple[float, float]
    readings: int


@lru_cache(maxsize=4096)
def student_factor(degrees_of_freedom: float, coverage: float = COVERAGE) -> float:
    """Two-sided Student t factor for `coverage` (0..1) at real `degrees_of_freedom` > 0; infinity gives the normal.

    Source: JCGM 100:2008 G.3 and table G.2; t from the inverse of the regularised incomplete beta function.
    """
    if math.isinf(degrees_of_freedom):
        return float(mpmath.sqrt(2) * mpmath.erfinv(coverage))
    half = degrees_of_freedom / 2

    def tail(t: mpmath.mpf) -> mpmath.mpf:
        x = degrees_of_freedom / (degrees_of_freedom + t * t)
        return mpmath.betainc(half, 0.5, 0, x, regularized=True) - (1 - coverage)

    high = 2.0
    while tail(high) > 0:
        high *= 2
    return float(mpmath.findroot(tail, (0.5, high), solver="anderson", tol=1e-24))


def effective_freedom(parts: Sequence[tuple[float, float]]) -> float:
    """Degrees of freedom of a combined uncertainty from its (standard uncertainty, degrees of freedom) parts.

    Infinite where no part with finite degrees of freedom contributes. Source: Welch and Satterthwaite, JCGM 100:2008
    G.4.1, equation (G.2b).
    """
    variance = math.fsum(u * u for u, _ in parts)
    shares = math.fsum(u**4 / freedom for u, freedom in parts)
    return variance**2 / shares if shares > 0 else math.inf


def trial_fit_depth(readings: Sequence[TrialReading], resolution_in: float, repeatability_in: float) -> DepthEstimate:
    """The depth at which the visiting inner would be flush, at the pitch of the trial bore.

    Wanted depth of one reading: trial depth plus how far the inner stood proud. Several: their mean, with
    u² = s²/n + resolution²/12 and an interval by Welch–Satterthwaite and Student t. One: u² = repeatability² +
    resolution²/12 with k = 1.96. Resolution and repeatability are inches, 0 or more.
    Source: JCGM 100:2008, 4.2, F.2.2.1 and G.4.
    """
    if not readings:
        raise CannotBuildError("readings", "give at least one reading")
    wanted = [r.trial_depth_in + r.proud_in for r in readings]
    count, mean = len(wanted), math.fsum(wanted) / len(wanted)
    rounding = resolution_in**2 / 12
    if count == 1:
        u, factor = math.sqrt(repeatability_in**2 + rounding), NORMAL_FACTOR
    else:
        scatter = math.fsum((w - mean) ** 2 for w in wanted) / (count - 1) / count
        u = math.sqrt(scatter + rounding)
        factor = student_factor(effective_freedom(((math.sqrt(scatter), count - 1), (math.sqrt(rounding), math.inf))))
    return DepthEstimate(mean, u, (mean - factor * u, mean + factor * u), count)


@dataclass(frozen=True)
class KnownDepth:
    """One observed collar depth and its standard uncertainty, inches, > 0."""

    depth_in: float
    standard_uncertainty_in: float


@dataclass(frozen=True)
class DepthKnowledge:
    """What a shop's observations of one depth add up to.

    `scatter_in` is the shop's own spread from ball to ball (standard deviation, inches), None for a single
    observation. `next_ball_in` is the 95 % interval of a ball not yet measured, None until there are three.
    `without` holds the mean with each observation left out in turn; `strays` marks those far from the rest.
    """

    estimate: DepthEstimate
    scatter_in: float | None
    next_ball_in: tuple[float, float] | None
    without: tuple[float, ...]
    strays: tuple[bool, ...]

    @property
    def is_scatter_the_limit(self) -> bool:
        """Whether more observations can no longer narrow the next ball by much: the scatter is the shop's own."""
        if self.scatter_in is None or self.next_ball_in is None:
            return False
        return self.estimate.standard_uncertainty_in < self.scatter_in / 2


STRAY_SCORE = 3.5  # B. Iglewicz and D. Hoaglin, How to Detect and Handle Outliers (1993), section 3.1


def shop_depth(known: Sequence[KnownDepth]) -> DepthKnowledge:
    """A shop's depth from its observations, each weighted by its own variance and the shop's scatter together.

    Scatter by the method of Paule and Mandel; variance of the mean by Hartung and Knapp with Student's t at n − 1,
    never less than the weights alone promise; the next ball adds the scatter itself, at n − 2. One or two
    observations say nothing of scatter beyond their own difference: k = 1.96.
    Source: R. C. Paule and J. Mandel, J. Res. NBS 87 (1982) 377; J. Hartung and G. Knapp, Statist. Med. 20 (2001)
    3875; J. P. T. Higgins et al., J. R. Statist. Soc. A 172 (2009) 137.
    """
    if not known:
        raise CannotBuildError("readings", "nothing is known of this depth")
    count = len(known)
    if count == 1:
        depth, u = known[0].depth_in, known[0].standard_uncertainty_in
        interval = (depth - NORMAL_FACTOR * u, depth + NORMAL_FACTOR * u)
        return DepthKnowledge(DepthEstimate(depth, u, interval, 1), None, None, (), (False,))
    variance = _paule_mandel(known)
    mean, weights = _weighted_mean(known, variance)
    squares = math.fsum(w * (k.depth_in - mean) ** 2 for w, k in zip(weights, known, strict=True))
    u = math.sqrt(max(squares / (count - 1), 1.0) / math.fsum(weights))
    half = (student_factor(count - 1) if count > 2 else NORMAL_FACTOR) * u
    following = None
    if count > 2:
        reach = student_factor(count - 2) * math.sqrt(variance + u * u)
        following = (mean - reach, mean + reach)
    left_out = tuple(_mean_without(known, i) for i in range(count))
    return DepthKnowledge(
        DepthEstimate(mean, u, (mean - half, mean + half), count),
        math.sqrt(variance),
        following,
        left_out,
        _strays([k.depth_in for k in known]),
    )


def _weighted_mean(known: Sequence[KnownDepth], variance: float) -> tuple[float, list[float]]:
    weights = [1 / (k.standard_uncertainty_in**2 + variance) for k in known]
    return math.fsum(w * k.depth_in for w, k in zip(weights, known, strict=True)) / math.fsum(weights), weights


def _mean_without(known: Sequence[KnownDepth], left_out: int) -> float:
    rest = [k for i, k in enumerate(known) if i != left_out]
    return _weighted_mean(rest, _paule_mandel(rest) if len(rest) > 1 else 0.0)[0]


def _paule_mandel(known: Sequence[KnownDepth]) -> float:
    """The between-ball variance at which the weighted sum of squares equals its degrees of freedom, by bisection."""

    def excess(variance: float) -> float:
        mean, weights = _weighted_mean(known, variance)
        squares = math.fsum(w * (k.depth_in - mean) ** 2 for w, k in zip(weights, known, strict=True))
        return squares - (len(known) - 1)

    if excess(0.0) <= 0:
        return 0.0
    low, high = 0.0, 1e-6
    while excess(high) > 0:
        low, high = high, high * 4
    for _ in range(80):
        middle = (low + high) / 2
        low, high = (middle, high) if excess(middle) > 0 else (low, middle)
    return (low + high) / 2


def _strays(values: Sequence[float]) -> tuple[bool, ...]:
    """Which values have a modified z-score beyond STRAY_SCORE; none where half of them agree exactly."""
    centre = statistics.median(values)
    spread = statistics.median(abs(v - centre) for v in values)
    if len(values) < 4 or spread == 0:
        return tuple(False for _ in values)
    return tuple(abs(0.6745 * (v - centre) / spread) > STRAY_SCORE for v in values)


def half_width_after_one_more(estimate: DepthEstimate, scatter_in: float, resolution_in: float) -> float:
    """The half width, in inches, that the interval would have after one more trial fit with the same scatter.

    `scatter_in` is the standard deviation of one trial (inches). Source: JCGM 100:2008 G.4, as `trial_fit_depth`.
    """
    count = estimate.readings + 1
    scatter, rounding = scatter_in**2 / count, resolution_in**2 / 12
    u = math.sqrt(scatter + rounding)
    parts = ((math.sqrt(scatter), count - 1), (math.sqrt(rounding), math.inf))
    return student_factor(effective_freedom(parts)) * u
