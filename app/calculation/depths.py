"""What trial fits and other readings say of a shop's bore depth, with how sure that is."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

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
        freedom = (count - 1) * (u * u / scatter) ** 2 if scatter > 0 else math.inf
        factor = student_factor(freedom)
    return DepthEstimate(mean, u, (mean - factor * u, mean + factor * u), count)


@dataclass(frozen=True)
class KnownDepth:
    """One observed collar depth and its standard uncertainty, inches, > 0."""

    depth_in: float
    standard_uncertainty_in: float


def pooled_depth(known: Sequence[KnownDepth]) -> DepthEstimate:
    """A shop's depth from all its observations, each weighted by 1/u².

    The uncertainty is the larger of what the weights promise and what the observations' own scatter shows, so
    that observations which disagree widen the answer. k = 1.96.
    Source: weighted mean with internal and external consistency, R. T. Birge, Physical Review 40 (1932) 207.
    """
    if not known:
        raise CannotBuildError("readings", "nothing is known of this depth")
    weights = [1 / k.standard_uncertainty_in**2 for k in known]
    total = math.fsum(weights)
    mean = math.fsum(w * k.depth_in for w, k in zip(weights, known, strict=True)) / total
    u = math.sqrt(1 / total)
    if len(known) > 1:
        spread = math.fsum(w * (k.depth_in - mean) ** 2 for w, k in zip(weights, known, strict=True))
        u *= max(1.0, math.sqrt(spread / (len(known) - 1)))
    return DepthEstimate(mean, u, (mean - NORMAL_FACTOR * u, mean + NORMAL_FACTOR * u), len(known))
