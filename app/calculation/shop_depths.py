"""How deep a shop bores, as its observations have it: its mean, its ball-to-ball scatter, and its next ball.

The scatter has a stated prior from the first observation and is integrated out, so it is never 0. A ball that nobody
measured gets the interval of the next ball, scatter included. Strays are marked, never dropped.
"""

import math
import statistics
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache

from app.calculation.depths import COVERAGE, DepthEstimate, KnownDepth
from app.calculation.errors import CannotBuildError
from app.calculation.tolerances import floored_doubt_in


@dataclass(frozen=True)
class ScatterPrior:
    """What counts as known of a shop's ball-to-ball scatter before its balls speak.

    Its variance has the scaled inverse χ² distribution of `scatter_in`² (inches, > 0) and `freedom`
    (0.5 to 1000).
    """

    scatter_in: float
    freedom: float


STARTING_SCATTER = ScatterPrior(0.008, 4.0)  # ASSUMED: shipped starting value, common practice, no source


@dataclass(frozen=True)
class StatedDepth:
    """What a shop says of its own depth: the mean of `balls` of its balls (>= 1) and what it knows of its scatter.

    Inches; `standard_uncertainty_in` is that of the mean, with the scatter of those balls in it already. Strangers said
    both, so neither counts below the least doubt of a reading: see `floored_doubt_in`.
    """

    depth_in: float
    standard_uncertainty_in: float
    scatter_in: float
    balls: int


@dataclass(frozen=True)
class DepthKnowledge:
    """What a shop's observations of one depth add up to.

    `scatter_in` is the shop's own spread from ball to ball (standard deviation, inches, > 0), `next_ball_in` the 95 %
    interval of the true depth of a ball not yet measured. `strays` marks observations far from the rest. `balls`
    counts the different balls, those of statements too, `prior` is what was taken of the scatter before the first.
    """

    estimate: DepthEstimate
    scatter_in: float
    next_ball_in: tuple[float, float]
    strays: tuple[bool, ...]
    balls: int
    prior: ScatterPrior

    @property
    def is_scatter_the_limit(self) -> bool:
        """Whether more observations can no longer narrow the next ball by much: the scatter is the shop's own."""
        low, high = self.estimate.interval_in
        return self.balls > self.prior.freedom and high - low < (self.next_ball_in[1] - self.next_ball_in[0]) / 2

    @property
    def is_scatter_mostly_assumed(self) -> bool:
        """Whether the prior says more of the scatter than the balls do: they give balls − 1 degrees of freedom."""
        return self.balls - 1 < self.prior.freedom


STRAY_SCORE = 3.5  # B. Iglewicz and D. Hoaglin, How to Detect and Handle Outliers (1993), section 3.1
MOST_FREEDOM = 1000.0
_LEAST_DOUBT_IN = 1e-6
_CLOSE_IN = 1e-8  # Newton's last step, whose square is the error left
_COARSE, _FINE = 40, 80  # steps of the scatter's grid, even in its logarithm
_NEGLIGIBLE = 18.0  # e to the minus this is left out of the integral


def shop_depth(
    known: Sequence[KnownDepth], prior: ScatterPrior = STARTING_SCATTER, stated: Sequence[StatedDepth] = ()
) -> DepthKnowledge:
    """A shop's depth from its observations: mean, ball-to-ball scatter, and what the next ball may have.

    Observed depth ~ N(mean, scatter² + u²) with a flat prior on the mean and `prior` on the scatter, which is
    integrated out on a grid, so that its doubt is in both intervals from the first observation on. Intervals are
    equal-tailed, the scatter is its posterior median. What the shop itself says, each of other balls, is information
    on the mean, N(mean, u²), and the posterior of its scatter is the prior here: balls − 1 more degrees of freedom.
    Raises CannotBuildError without observations and statements.
    Source: A. Gelman et al., Bayesian Data Analysis, 3rd ed. (2013), section 5.4, with the conjugate prior of 2.6.
    """
    if not known and not stated:
        raise CannotBuildError("readings", "nothing is known of this depth")
    return _shop_depth(tuple(known), prior, tuple(stated))


@lru_cache(maxsize=2048)
def _shop_depth(known: tuple[KnownDepth, ...], prior: ScatterPrior, stated: tuple[StatedDepth, ...]) -> DepthKnowledge:
    balls = _balls(known)
    grid = _posterior(balls, prior, stated)
    mean = math.fsum(g.weight * g.mean for g in grid)
    u = math.sqrt(math.fsum(g.weight * (g.variance + (g.mean - mean) ** 2) for g in grid))
    of_mean = [(g.weight, g.mean, math.sqrt(g.variance)) for g in grid]
    of_next = [(g.weight, g.mean, math.sqrt(g.variance + g.scatter**2)) for g in grid]
    told = sum(s.balls for s in stated)
    return DepthKnowledge(
        DepthEstimate(mean, u, _interval(of_mean), len(known) + told),
        _median_scatter(grid),
        _interval(of_next),
        _strays([k.depth_in for k in known]),
        len(balls) + told,
        prior,
    )


def depths_without(
    known: Sequence[KnownDepth], prior: ScatterPrior = STARTING_SCATTER, stated: Sequence[StatedDepth] = ()
) -> tuple[float, ...]:
    """The shop's mean depth with each observation left out in turn, inches; empty if nothing else is known."""
    if len(known) < (1 if stated else 2):
        return ()
    left = ([k for j, k in enumerate(known) if j != i] for i in range(len(known)))
    return tuple(math.fsum(g.weight * g.mean for g in _posterior(_balls(rest), prior, stated)) for rest in left)


def pool(known: Iterable[KnownDepth]) -> KnownDepth:
    """Observations of one ball as one: weighted by their variances. Source: JCGM 100:2008 5.1.2 and H.3."""
    parts = [(k.depth_in, max(k.standard_uncertainty_in, _LEAST_DOUBT_IN) ** -2, k.ball) for k in known]
    weight = math.fsum(w for _, w, _ in parts)
    return KnownDepth(math.fsum(w * d for d, w, _ in parts) / weight, weight**-0.5, parts[0][2])


def _balls(known: Iterable[KnownDepth]) -> list[KnownDepth]:
    by_ball: dict[object, list[KnownDepth]] = {}
    for i, k in enumerate(known):
        by_ball.setdefault(("alone", i) if k.ball is None else k.ball, []).append(k)
    return [pool(own) for own in by_ball.values()]


@dataclass(frozen=True)
class _Given:
    """The mean's normal distribution for one value of the scatter, and that value's share."""

    weight: float
    scatter: float
    mean: float
    variance: float


@dataclass(frozen=True)
class _Evidence:
    """Depths by their variance as (count, sum, sum of squares), off a centre; what is stated holds for any scatter."""

    alike: dict[float, tuple[int, float, float]]
    stated: tuple[float, float, float]  # weight, weighted sum, weighted squares
    prior: ScatterPrior


def _posterior(balls: Sequence[KnownDepth], prior: ScatterPrior, stated: Sequence[StatedDepth]) -> list[_Given]:
    """The scatter's posterior on an even grid of its logarithm: coarse to find where it lies, then fine."""
    prior = _learn_scatter(prior, stated)
    depths_in = [*(b.depth_in for b in balls), *(s.depth_in for s in stated)]
    centre = math.fsum(depths_in) / len(depths_in)
    alike: dict[float, tuple[int, float, float]] = {}
    for ball in balls:
        off, variance = ball.depth_in - centre, ball.standard_uncertainty_in**2
        n, total, squares = alike.get(variance, (0, 0.0, 0.0))
        alike[variance] = (n + 1, total + off, squares + off * off)
    told = [(s.depth_in - centre, floored_doubt_in(s.standard_uncertainty_in) ** -2) for s in stated]
    sums = (sum(w for _, w in told), sum(w * off for off, w in told), sum(w * off * off for off, w in told))
    evidence = _Evidence(alike, sums, prior)
    spread = max((abs(b.depth_in - centre) for b in balls), default=0.0)
    low = math.log(prior.scatter_in / 20)
    high = math.log(3 * max(prior.scatter_in, spread)) + 6 * math.log(10) / prior.freedom
    places = [low + (high - low) * i / _COARSE for i in range(_COARSE + 1)]
    densities = [_at(place, evidence)[0] for place in places]
    best = max(densities)
    near = [place for place, density in zip(places, densities, strict=True) if density > best - _NEGLIGIBLE]
    step = (high - low) / _COARSE
    low, high = near[0] - step, near[-1] + step
    fine = [low + (high - low) * i / _FINE for i in range(_FINE + 1)]
    found = [(place, *_at(place, evidence)) for place in fine]
    best = max(density for _, density, _, _ in found)
    weights = [math.exp(density - best) for _, density, _, _ in found]
    whole = math.fsum(weights)
    return [_Given(w / whole, math.exp(f[0]), centre + f[2], f[3]) for w, f in zip(weights, found, strict=True)]


def _learn_scatter(prior: ScatterPrior, stated: Sequence[StatedDepth]) -> ScatterPrior:
    """What counts as known of the scatter after the statements: each brings that of its balls, by their freedom."""
    parts = [(floored_doubt_in(s.scatter_in), float(s.balls - 1)) for s in stated if s.balls > 1]
    if not parts:
        return prior
    freedom = math.fsum(f for _, f in parts)
    learnt = math.fsum(f * s * s for s, f in parts) / freedom
    return ScatterPrior(math.sqrt(learnt), min(prior.freedom + freedom, MOST_FREEDOM))


def _at(log_scatter: float, evidence: _Evidence) -> tuple[float, float, float]:
    """Log density of log scatter, and mean and variance of the shop's depth given that scatter."""
    prior = evidence.prior
    own = math.exp(2 * log_scatter)
    density = -prior.freedom * (log_scatter + prior.scatter_in**2 / own / 2)
    weight, first, second = evidence.stated
    for variance, (n, total, squares) in evidence.alike.items():
        w = 1 / (variance + own)
        weight, first, second = weight + n * w, first + w * total, second + w * squares
        density += n * math.log(w) / 2
    mean = first / weight
    density -= (math.log(weight) + second - mean * first) / 2
    return density, mean, 1 / weight


def _median_scatter(grid: Sequence[_Given]) -> float:
    """Where half of the weight lies below; each place of the grid stands for a cell, even in the logarithm."""
    below, cell = 0.0, grid[1].scatter / grid[0].scatter
    for given in grid:
        if below + given.weight >= 0.5:
            break
        below += given.weight
    return float(given.scatter * cell ** ((0.5 - below) / given.weight - 0.5))


def _interval(parts: Sequence[tuple[float, float, float]]) -> tuple[float, float]:
    """The equal-tailed interval of a mixture of normals, each (share, mean, standard deviation)."""
    tail = (1 - COVERAGE) / 2
    return _quantile(parts, tail), _quantile(parts, 1 - tail)


def _quantile(parts: Sequence[tuple[float, float, float]], share: float) -> float:
    """Where the mixture's distribution function reaches `share`: Newton's steps, kept inside a shrinking bracket."""
    low, high = min(m - 9 * sd for _, m, sd in parts), max(m + 9 * sd for _, m, sd in parts)
    x = math.fsum(w * m for w, m, _ in parts) + math.copysign(2.0, share - 0.5) * max(parts)[2]
    for _ in range(100):
        below = slope = 0.0
        for w, m, sd in parts:
            z = (x - m) / sd
            below += w * math.erfc(-z * _ROOT_HALF)
            slope += w * math.exp(-z * z / 2) / sd
        excess = below / 2 - share
        low, high = (low, x) if excess > 0 else (x, high)
        step = excess / (slope * _NORMAL_PEAK) if slope > 0 else math.inf
        following = x - step if low < x - step < high else (low + high) / 2
        if abs(following - x) < _CLOSE_IN:
            return following
        x = following
    return x


_ROOT_HALF = math.sqrt(0.5)
_NORMAL_PEAK = 1 / math.sqrt(2 * math.pi)


def _strays(values: Sequence[float]) -> tuple[bool, ...]:
    """Which values have a modified z-score beyond STRAY_SCORE; none where half of them agree exactly."""
    if len(values) < 4:
        return tuple(False for _ in values)
    centre = statistics.median(values)
    spread = statistics.median(abs(v - centre) for v in values)
    if spread == 0:
        return tuple(False for _ in values)
    return tuple(abs(0.6745 * (v - centre) / spread) > STRAY_SCORE for v in values)
