"""A shop's depth against closed forms, against scipy's quadrature, and against simulated shops."""

import math
from collections.abc import Callable, Sequence

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, interpolate, special, stats
from statsmodels.stats.meta_analysis import combine_effects

from app.calculation.depths import DepthEstimate, KnownDepth
from app.calculation.errors import CannotBuildError
from app.calculation.shop_depths import (
    STARTING_SCATTER,
    DepthKnowledge,
    ScatterPrior,
    StatedDepth,
    depths_without,
    pool,
    shop_depth,
)
from app.calculation.tolerances import FINEST_DIVISION_IN

RUNS = 20_000
TRUE_IN = 2.7
SCATTERS_IN = {"0.003": 0.003, "0.008": 0.008, "1/64": 1 / 64, "of the prior": None}
READING_SDS_IN = {"0.002": 0.002, "0.004": 0.004, "1/128": 1 / 128, "1/64": 1 / 64}
MOST = 20
SHOWN = (1, 2, 3, 5, 10, 20)
WITHIN_QUADRATURE = 2e-5  # of a share of 0.025
EXACT_IN = 2e-7


def known(
    depths: Sequence[float] | np.ndarray,
    doubts: Sequence[float] | np.ndarray,
    balls: Sequence[int | None] | None = None,
) -> list[KnownDepth]:
    balls = balls or [None] * len(depths)
    return [KnownDepth(float(d), float(u), b) for d, u, b in zip(depths, doubts, balls, strict=True)]


def test_the_worked_numbers_of_the_contract() -> None:
    got = shop_depth(known([2.75, 2.744, 2.762], [0.004, 0.004, 0.008]))
    assert got.estimate.depth_in == pytest.approx(2.75060, abs=5e-6)
    assert got.estimate.interval_in == pytest.approx((2.73848, 2.76340), abs=5e-6)
    assert got.scatter_in == pytest.approx(0.0081, abs=5e-5)
    assert got.next_ball_in == pytest.approx((2.72825, 2.77375), abs=5e-6)


@pytest.mark.parametrize("count", [1, 2, 3, 8, 20])
@pytest.mark.parametrize("prior", [STARTING_SCATTER, ScatterPrior(0.003, 1.0), ScatterPrior(0.02, 30.0)])
def test_without_reading_errors_it_is_students_t(count: int, prior: ScatterPrior) -> None:
    # outside source: the conjugate normal model, A. Gelman et al., Bayesian Data Analysis (2013), 2.6 and 3.2; scipy t
    depths = TRUE_IN + np.random.default_rng(count).normal(0, 0.008, count)
    got = shop_depth(known(depths, [0.0] * count), prior)
    freedom = prior.freedom + count - 1
    scale = math.sqrt((prior.freedom * prior.scatter_in**2 + np.sum((depths - depths.mean()) ** 2)) / freedom)
    factor = stats.t.ppf(0.975, freedom)
    for found, more in ((got.estimate.interval_in, 1 / count), (got.next_ball_in, 1 + 1 / count)):
        half = factor * scale * math.sqrt(more)
        assert found == pytest.approx((depths.mean() - half, depths.mean() + half), rel=0, abs=2e-4 * half)
    median = math.sqrt(freedom * scale**2 / stats.chi2.ppf(0.5, freedom))
    assert got.scatter_in == pytest.approx(median, rel=3e-3)


def share_below(known_depths: Sequence[KnownDepth], prior: ScatterPrior, place: float, is_next: bool) -> float:
    """The posterior share below a place by scipy's adaptive quadrature over the logarithm of the scatter."""
    d = np.array([k.depth_in for k in known_depths])
    u2 = np.array([k.standard_uncertainty_in for k in known_depths]) ** 2
    variance = stats.invgamma(prior.freedom / 2, scale=prior.freedom * prior.scatter_in**2 / 2)

    def parts(log_scatter: float) -> tuple[float, float, float]:
        own = math.exp(2 * log_scatter)
        w = 1 / (u2 + own)
        mean = np.sum(w * d) / np.sum(w)
        log = np.sum(np.log(w)) / 2 - math.log(np.sum(w)) / 2 - np.sum(w * (d - mean) ** 2) / 2
        return log + variance.logpdf(own) + 2 * log_scatter, mean, 1 / np.sum(w) + (own if is_next else 0)

    places = np.linspace(math.log(prior.scatter_in) - 3, math.log(prior.scatter_in) + 9, 400)
    best, peak = max((parts(p)[0], p) for p in places)

    def part(p: float, is_below: bool) -> float:
        log, mean, variance = parts(p)
        share = float(special.ndtr((place - mean) / math.sqrt(variance))) if is_below else 1.0
        return math.exp(log - best) * share

    def whole(is_below: bool) -> float:
        ends = ((peak - 4, peak), (peak, peak + 1), (peak + 1, peak + 9), (peak + 9, peak + 40))
        parts = (integrate.quad(part, *e, args=(is_below,), epsabs=1e-10, epsrel=1e-8, limit=200)[0] for e in ends)
        return float(sum(parts))

    return whole(True) / whole(False)


@pytest.mark.parametrize("seed", range(8))
def test_intervals_are_equal_tailed_by_quadrature(seed: int) -> None:
    # outside source: scipy.integrate.quad over scipy's inverse gamma prior of the variance
    pick = np.random.default_rng(seed)
    count = int(pick.choice([1, 2, 3, 5, 9]))
    doubts = pick.choice([0.002, 0.004, 1 / 128, 1 / 64], count)
    prior = ScatterPrior(*((0.008, 4.0), (0.004, 9.0), (0.02, 2.5))[seed % 3])
    assert_equal_tails(known(TRUE_IN + pick.normal(0, 0.01, count), doubts), prior)


def test_intervals_are_equal_tailed_where_next_to_nothing_is_known_of_the_scatter() -> None:
    assert_equal_tails(known([2.7], [0.1]), ScatterPrior(0.05, 0.7))


def assert_equal_tails(observed: Sequence[KnownDepth], prior: ScatterPrior) -> None:
    got = shop_depth(observed, prior)
    for interval, is_next in ((got.estimate.interval_in, False), (got.next_ball_in, True)):
        for place, share in zip(interval, (0.025, 0.975), strict=True):
            assert share_below(observed, prior, place, is_next) == pytest.approx(share, abs=WITHIN_QUADRATURE)


@pytest.mark.parametrize(
    ("depths", "doubts"),
    [([2.70, 2.76, 2.71], [0.002, 0.012, 0.006]), ([2.75, 2.69], [0.001, 0.02]), ([2.7, 2.71, 2.7, 2.74, 2.69], [0.002, 0.002, 0.002, 0.02, 0.01])],
)  # fmt: skip
def test_the_mean_its_doubt_and_the_scatter_are_those_of_a_fine_grid(depths: list[float], doubts: list[float]) -> None:
    # outside source: numpy on 20,000 places of the scatter; mean and variance of a mixture, and the posterior's median
    log_scatter = np.linspace(math.log(0.0001), math.log(1.0), 20_000)
    own = np.exp(2 * log_scatter)
    weight = 1 / (np.square(doubts)[:, None] + own)
    total = weight.sum(axis=0)
    mean = (weight * np.array(depths)[:, None]).sum(axis=0) / total
    log = np.log(weight).sum(axis=0) / 2 - np.log(total) / 2
    log -= (weight * (np.array(depths)[:, None] - mean) ** 2).sum(axis=0) / 2
    log -= 4.0 * (log_scatter + 0.008**2 / own / 2)
    share = np.exp(log - log.max())
    share /= share.sum()
    middle = float((share * mean).sum())
    variance = float((share * (1 / total + (mean - middle) ** 2)).sum())
    got = shop_depth(known(depths, doubts))
    assert got.estimate.depth_in == pytest.approx(middle, abs=1e-7)
    assert got.estimate.standard_uncertainty_in == pytest.approx(math.sqrt(variance), rel=1e-4)
    assert got.scatter_in == pytest.approx(math.exp(np.interp(0.5, np.cumsum(share), log_scatter)), rel=1e-3)


@pytest.mark.parametrize("seed", range(6))
def test_a_scatter_known_beforehand_leaves_the_weighted_mean(seed: int) -> None:
    # outside source: statsmodels.stats.meta_analysis, fixed-effects combination of variances reading² + scatter²
    pick = np.random.default_rng(seed)
    doubts = pick.uniform(0.004, 0.016, 6)
    depths = TRUE_IN + pick.normal(0, 0.012, 6)
    got = shop_depth(known(depths, doubts), ScatterPrior(0.012, 1000.0))
    fixed = combine_effects(depths, doubts**2 + got.scatter_in**2, method_re="iterated")
    assert got.estimate.depth_in == pytest.approx(fixed.mean_effect_fe, abs=1e-5)
    assert got.estimate.standard_uncertainty_in == pytest.approx(fixed.sd_eff_w_fe, rel=2e-3)


def test_observations_of_one_ball_are_one_ball() -> None:
    twice = known([2.70, 2.71, 2.74], [0.01, 0.02, 0.01], [4, 4, None])
    once = [pool(twice[:2]), twice[2]]
    assert once[0].depth_in == pytest.approx((2.70 * 4 + 2.71) / 5, abs=1e-12)
    assert once[0].standard_uncertainty_in == pytest.approx(1 / math.sqrt(1e4 + 2500), abs=1e-12)
    got, expected = shop_depth(twice), shop_depth(once)
    assert got.next_ball_in == pytest.approx(expected.next_ball_in, abs=EXACT_IN)
    assert (got.balls, got.estimate.readings) == (2, 3)
    apart = shop_depth(known([2.70, 2.71, 2.74], [0.01, 0.02, 0.01]))
    assert apart.next_ball_in != pytest.approx(got.next_ball_in, abs=1e-4)


def test_one_ball_read_often_says_nothing_of_the_scatter() -> None:
    # the mean's own doubt keeps the scatter of the prior however often one ball is read: t with 4 degrees of freedom
    got = shop_depth(known([2.7] * 12, [0.001] * 12, [1] * 12))
    low, high = got.estimate.interval_in
    assert (high - low) / 2 >= stats.t.ppf(0.975, 4) * 0.008
    assert got.scatter_in == pytest.approx(0.008 * math.sqrt(4 / stats.chi2.ppf(0.5, 4)), rel=3e-3)


@settings(max_examples=60)
@given(
    st.lists(st.tuples(st.floats(0.05, 6), st.floats(0, 0.25), st.integers(0, 3) | st.none()), min_size=1, max_size=12),
    st.floats(1e-5, 0.25),
    st.floats(0.5, 1000),
)
def test_no_observations_break_it_and_no_width_is_ever_zero(
    observed: list[tuple[float, float, int | None]], scatter: float, freedom: float
) -> None:
    got = shop_depth([KnownDepth(*o) for o in observed], ScatterPrior(scatter, freedom))
    low, high = got.estimate.interval_in
    assert -math.inf < got.next_ball_in[0] < low < got.estimate.depth_in < high < got.next_ball_in[1] < math.inf
    assert 0 < got.scatter_in < math.inf


def test_nothing_known_is_refused() -> None:
    with pytest.raises(CannotBuildError):
        shop_depth([])


def test_many_balls_say_what_one_cannot() -> None:
    few, many = shop_depth(known([2.7], [0.004])), shop_depth(known([2.69, 2.71, 2.70, 2.705, 2.695] * 4, [0.002] * 20))
    assert few.is_scatter_mostly_assumed and not few.is_scatter_the_limit
    assert many.is_scatter_the_limit and not many.is_scatter_mostly_assumed


def test_the_prior_says_most_of_the_scatter_until_as_many_balls_have_spoken() -> None:
    # five balls give 4 degrees of freedom, as many as the shipped prior
    depths = [2.69, 2.71, 2.70, 2.705, 2.695]
    told = [shop_depth(known(depths[:n], [0.002] * n)).is_scatter_mostly_assumed for n in (4, 5)]
    assert told == [True, False]


def test_the_scatter_is_the_limit_only_of_many_balls_read_well() -> None:
    depths = [2.69, 2.71, 2.70, 2.705, 2.695] * 2
    assert shop_depth(known(depths, [0.001] * 10)).is_scatter_the_limit
    assert not shop_depth(known(depths, [0.05] * 10)).is_scatter_the_limit  # many, and each read badly
    assert not shop_depth(known(depths[:4], [0.001] * 4), ScatterPrior(0.05, 4.0)).is_scatter_the_limit


def test_the_fourth_reading_is_the_first_that_can_be_a_stray() -> None:
    # by hand: about the median of 2.7015 the median deviation is 0.001, and 2.8 is 0.6745 × 98.5 of those away
    assert shop_depth(known([2.7, 2.701, 2.702, 2.8], [0.004] * 4)).strays == (False, False, False, True)
    assert shop_depth(known([2.7, 2.701, 2.8], [0.004] * 3)).strays == (False, False, False)


def test_a_stray_reading_is_marked_and_not_dropped() -> None:
    observed = known([2.700, 2.702, 2.699, 2.701, 2.640], [0.004] * 5)
    got = shop_depth(observed)
    assert got.strays == (False, False, False, False, True)
    assert got.estimate.readings == 5
    assert depths_without(observed)[4] > got.estimate.depth_in
    # modified z-scores of 0.6745 x 4 and x 6 about a median absolute deviation of 1/1000: only the second is beyond 3.5
    for off, is_far in ((0.0049, False), (0.006, True)):
        assert shop_depth(known([2.699, 2.7, 2.7, 2.701, 2.699, 2.701, 2.7 + off], [0.004] * 7)).strays[-1] is is_far


def test_leaving_one_out_is_the_answer_of_the_others() -> None:
    observed = known([2.70, 2.72, 2.69, 2.71], [0.004, 0.006, 0.01, 0.008])
    rest = shop_depth([observed[0], *observed[2:]]).estimate.depth_in
    assert depths_without(observed)[1] == pytest.approx(rest, abs=1e-12)
    assert depths_without(observed[:1]) == ()


# What a shop says of itself -----------------------------------------------------------------------------------------


def state(observed: Sequence[KnownDepth]) -> StatedDepth:
    """What the shop of these observations would write on a card."""
    own = shop_depth(observed)
    return StatedDepth(own.estimate.depth_in, own.estimate.standard_uncertainty_in, own.scatter_in, own.balls)


def test_a_statement_alone_is_its_mean_and_its_doubt() -> None:
    # outside source: scipy's normal and Student's t; 9 balls and a prior of 4 leave 12 degrees of freedom
    got = shop_depth([], stated=[StatedDepth(2.7, 0.003, 0.01, 9)])
    half = stats.norm.ppf(0.975) * 0.003
    assert got.estimate.interval_in == pytest.approx((2.7 - half, 2.7 + half), abs=EXACT_IN)
    assert got.scatter_in == pytest.approx(0.01 * math.sqrt(12 / stats.chi2.ppf(0.5, 12)), rel=3e-3)
    draws = np.random.default_rng(1)
    many = 2.7 + draws.normal(0, 0.003, 400_000) + 0.01 * draws.standard_t(12, 400_000)
    assert got.next_ball_in == pytest.approx(np.quantile(many, (0.025, 0.975)), abs=2e-4)
    assert (got.balls, got.estimate.readings, got.strays) == (9, 9, ())


@pytest.mark.parametrize("seed", range(4))
def test_statement_and_balls_by_quadrature(seed: int) -> None:
    # outside source: scipy.integrate.quad over scipy's inverse gamma, the statement as one more normal of the mean
    pick = np.random.default_rng(seed)
    depths, doubts = TRUE_IN + pick.normal(0, 0.01, 3), np.full(3, 0.004)
    stated = StatedDepth(TRUE_IN + 0.006, 0.005, 0.012, 6)
    variance = stats.invgamma(4.5, scale=4.5 * 0.012**2)  # 4 + 5 degrees of freedom

    def parts(own: float) -> tuple[float, float]:
        w = np.append(1 / (doubts**2 + own), 1 / 0.005**2)
        mean = np.sum(w * np.append(depths, stated.depth_in)) / w.sum()
        off = np.append(depths, stated.depth_in) - mean
        return np.sum(np.log(w)) / 2 - math.log(w.sum()) / 2 - np.sum(w * off**2) / 2 + variance.logpdf(own), mean

    best = max(parts(own)[0] for own in np.geomspace(1e-6, 1e-2, 300))

    def integral(weigh_mean: bool) -> float:
        def share(log_own: float) -> float:
            log, mean = parts(math.exp(log_own))
            return math.exp(log - best + log_own) * (mean if weigh_mean else 1.0)

        return float(integrate.quad(share, math.log(1e-6), math.log(1e-1), limit=400, epsabs=1e-14)[0])

    got = shop_depth(known(depths, doubts), stated=[stated])
    assert got.estimate.depth_in == pytest.approx(integral(True) / integral(False), abs=1e-6)
    assert (got.balls, got.estimate.readings) == (9, 9)


@pytest.mark.parametrize("seed", range(6))
def test_a_statement_says_nearly_what_its_balls_would(seed: int) -> None:
    pick = np.random.default_rng(seed)
    theirs = known(TRUE_IN + pick.normal(0, 0.008, 12), [0.004] * 12)
    ours = known(TRUE_IN + pick.normal(0, 0.008, 3), [0.004] * 3)
    whole, told = shop_depth([*theirs, *ours]), shop_depth(ours, stated=[state(theirs)])
    assert told.estimate.depth_in == pytest.approx(whole.estimate.depth_in, abs=0.0006)
    assert told.estimate.standard_uncertainty_in == pytest.approx(whole.estimate.standard_uncertainty_in, rel=0.15)
    assert told.scatter_in == pytest.approx(whole.scatter_in, rel=0.15)
    assert told.balls == whole.balls == 15


@pytest.mark.parametrize("said", [(2.75, 0.0, 0.0), (0.0, 8.0, 8.0), (8.0, 0.0, 8.0), (2.75, 8.0, 0.0)])
@pytest.mark.parametrize("balls", [1, 2, 5, 1_000_000])
def test_whatever_a_stranger_stated_is_worked_out_and_never_exact(said: tuple[float, float, float], balls: int) -> None:
    """The floor: JCGM 100:2008 4.3.7, the finest division over the root of 12."""
    mean, u, scatter = said
    found = shop_depth([KnownDepth(2.75, 0.004)], stated=[StatedDepth(mean, u, scatter, balls)])
    least = FINEST_DIVISION_IN / math.sqrt(12)
    assert found.scatter_in > least / 10
    assert found.next_ball_in[1] - found.next_ball_in[0] > 2 * least
    alone = shop_depth([], stated=[StatedDepth(2.75, 0.0, 0.0, balls)])
    assert alone.estimate.standard_uncertainty_in == pytest.approx(least)


def test_statements_in_any_order_and_beyond_any_doubt() -> None:
    one, other = StatedDepth(2.70, 0.004, 0.006, 4), StatedDepth(2.71, 0.003, 0.009, 11)
    ours = known([2.705], [0.004])
    assert shop_depth(ours, stated=[one, other]).estimate.depth_in == pytest.approx(
        shop_depth(ours, stated=[other, one]).estimate.depth_in, abs=1e-12
    )
    both = shop_depth([], stated=[one, other])  # by hand: weights 62,500 and 111,111, freedoms 3 and 10 beside 4
    assert both.estimate.depth_in == pytest.approx((2.70 * 62_500 + 2.71 * 1e6 / 9) / (62_500 + 1e6 / 9), abs=1e-9)
    pooled = math.sqrt((3 * 0.006**2 + 10 * 0.009**2) / 13)
    assert both.scatter_in == pytest.approx(pooled * math.sqrt(17 / stats.chi2.ppf(0.5, 17)), rel=3e-3)
    alone = shop_depth([], stated=[StatedDepth(2.7, 0.0, 0.006, 1)])  # one ball says nothing of the scatter
    assert alone.scatter_in == pytest.approx(0.008 * math.sqrt(4 / stats.chi2.ppf(0.5, 4)), rel=3e-3)
    assert depths_without(ours, stated=[one]) == pytest.approx([2.70], abs=1e-9)


@pytest.mark.parametrize("count", [2, 5, 12])
def test_with_a_statement_the_intervals_cover_what_they_say(count: int) -> None:
    pick = np.random.default_rng(count)
    runs, inside, next_inside = 2000, 0, 0
    for scatter in scatters(pick, None, runs):
        theirs = known(TRUE_IN + pick.normal(0, math.hypot(scatter, 0.004), count), [0.004] * count)
        ours = known(TRUE_IN + pick.normal(0, math.hypot(scatter, 0.004), 1), [0.004])
        got = shop_depth(ours, stated=[state(theirs)])
        inside += got.estimate.interval_in[0] <= TRUE_IN <= got.estimate.interval_in[1]
        next_inside += got.next_ball_in[0] <= TRUE_IN + pick.normal(0, scatter) <= got.next_ball_in[1]
    print(f"{count} balls told, one seen: mean {inside / runs:.3f}, next ball {next_inside / runs:.3f}")
    assert 0.925 <= inside / runs <= 0.975 and 0.93 <= next_inside / runs <= 0.975


# Simulated shops --------------------------------------------------------------------------------------------------


def scatters(pick: np.random.Generator, scatter: float | None, runs: int) -> np.ndarray:
    """The true scatter of each simulated shop, inches: as given, or drawn from the starting prior."""
    if scatter is not None:
        return np.full(runs, scatter)
    return STARTING_SCATTER.scatter_in * np.sqrt(
        STARTING_SCATTER.freedom / pick.chisquare(STARTING_SCATTER.freedom, runs)
    )


def half_widths(count: int, doubt: float, most: float) -> list[interpolate.PchipInterpolator]:
    """The app's half widths of mean and next ball by the depths' standard deviation, where all are known equally well.

    The answer then hangs on count, mean and sum of squares alone, so that a curve through exact answers serves all runs.
    """
    spreads = np.concatenate([[0.0], np.geomspace(doubt / 20, 1.01 * max(most, doubt), 24 if count > 1 else 2)])
    answers = []
    for spread in spreads:
        off = spread * math.sqrt(max(count - 1, 1) / 2) if count > 1 else 0.0
        depths = [TRUE_IN + off, TRUE_IN - off, *[TRUE_IN] * (count - 2)] if count > 1 else [TRUE_IN]
        got = shop_depth(known(depths, [doubt] * count))
        answers.append((got.estimate.interval_in[1] - TRUE_IN, got.next_ball_in[1] - TRUE_IN))
    return [interpolate.PchipInterpolator(spreads, column) for column in zip(*answers, strict=True)]


@pytest.fixture(scope="module")
def coverage() -> dict[tuple[str, str, int], tuple[float, float]]:
    """Share of 20,000 simulated shops whose mean, and whose next ball, lies in the interval told."""
    pick, found = np.random.default_rng(20), {}
    for sd_words, sd in READING_SDS_IN.items():
        for count in range(1, MOST + 1):
            runs = {}
            for words, scatter in SCATTERS_IN.items():
                own = scatters(pick, scatter, RUNS)
                reading = pick.normal(size=(count, RUNS)) * own + pick.normal(0, sd, (count, RUNS))
                spread = reading.std(axis=0, ddof=1) if count > 1 else np.zeros(RUNS)
                runs[words] = (reading.mean(axis=0), spread, pick.normal(size=RUNS) * own)
            mean_half, next_half = half_widths(count, sd, max(float(r[1].max()) for r in runs.values()))
            for words, (off, spread, ball) in runs.items():
                held = np.mean(np.abs(off) <= mean_half(spread)), np.mean(np.abs(off - ball) <= next_half(spread))
                found[words, sd_words, count] = (float(held[0]), float(held[1]))
    return found


def test_the_curve_is_the_apps_own_answer() -> None:
    pick = np.random.default_rng(3)
    for count, doubt in ((2, 0.002), (5, 1 / 64), (20, 1 / 128)):
        curves = half_widths(count, doubt, 0.1)
        for _ in range(4):
            depths = TRUE_IN + pick.normal(0, pick.choice([0.003, 0.008, 1 / 64]), count)
            got = shop_depth(known(depths, [doubt] * count))
            halves = got.estimate.interval_in[1] - depths.mean(), got.next_ball_in[1] - depths.mean()
            for curve, half in zip(curves, halves, strict=True):
                assert float(curve(depths.std(ddof=1))) == pytest.approx(half, rel=2e-3)


def test_intervals_hold_what_they_promise(
    coverage: dict[tuple[str, str, int], tuple[float, float]], tell: Callable[[str], None]
) -> None:
    # demands: the project's geometry paper; an exact answer to the stated model, so the prior's own shops give 95 %
    tell(f"shop depth, {RUNS:,} shops a cell, mean / next ball inside the 95 % interval, %")
    tell(f"{'scatter':>13} {'reading sd':>10} " + "".join(f"{'n = ' + str(n):>12}" for n in SHOWN))
    for words in SCATTERS_IN:
        for sd in READING_SDS_IN:
            cells = (coverage[words, sd, n] for n in SHOWN)
            tell(f"{words:>13} {sd:>10} " + "".join(f"{100 * a:>6.1f}/{100 * b:<5.1f}" for a, b in cells))
    for (words, sd, count), held in coverage.items():
        cell = f"scatter {words}, reading sd {sd}, n = {count}: {held}"
        if words == "of the prior":
            assert all(0.94 <= share <= 0.97 for share in held), cell
        elif words != "1/64":
            assert min(held) >= 0.93, cell
        elif count >= 5:
            assert min(held) >= 0.85, cell


def shares_below(depths: np.ndarray, doubts: np.ndarray, place: np.ndarray, is_next: bool) -> np.ndarray:
    """Posterior share below a place for many shops at once, each observation known differently; shops are rows."""
    prior, log_scatter = STARTING_SCATTER, np.linspace(math.log(0.008 / 8), math.log(0.008 * 60), 70)
    total = below = np.zeros(len(depths))
    best = np.full(len(depths), -np.inf)
    for p in log_scatter:
        own = math.exp(2 * p)
        w = 1 / (doubts**2 + own)
        weight = w.sum(axis=1)
        mean = (w * depths).sum(axis=1) / weight
        log = np.log(w).sum(axis=1) / 2 - np.log(weight) / 2 - (w * (depths - mean[:, None]) ** 2).sum(axis=1) / 2
        log -= prior.freedom * (p + prior.scatter_in**2 / own / 2)
        higher = np.maximum(best, log)
        share = np.exp(log - higher)
        total, below, best = total * np.exp(best - higher), below * np.exp(best - higher), higher
        total = total + share
        below = below + share * special.ndtr((place - mean) / np.sqrt(1 / weight + (own if is_next else 0)))
    return below / total


def test_intervals_hold_where_every_reading_is_known_differently(tell: Callable[[str], None]) -> None:
    # 10,000 shops a cell by an independent numpy integration, which is held against the app's answer first
    pick, runs = np.random.default_rng(6), 10_000
    lines = []
    for count in (1, 2, 5, 12):
        for words, scatter in SCATTERS_IN.items():
            own, doubts = scatters(pick, scatter, runs), pick.choice(list(READING_SDS_IN.values()), (runs, count))
            depths = TRUE_IN + pick.normal(size=(runs, count)) * own[:, None] + pick.normal(size=(runs, count)) * doubts
            ball = TRUE_IN + pick.normal(size=runs) * own
            ends = [shop_depth(known(depths[i], doubts[i])).next_ball_in for i in range(5)]
            for side, share in ((0, 0.025), (1, 0.975)):
                told = shares_below(depths[:5], doubts[:5], np.array([e[side] for e in ends]), True)
                assert told == pytest.approx([share] * 5, abs=2e-4)
            held = [
                float(np.mean(np.abs(shares_below(depths, doubts, place, is_next) - 0.5) <= 0.475))
                for place, is_next in ((np.full(runs, TRUE_IN), False), (ball, True))
            ]
            lines.append(f"scatter {words}, mixed reading sd, n = {count}: {held[0]:.1%} / {held[1]:.1%}")
            least = 0.94 if scatter is None else 0.93 if scatter < 0.01 else 0.85 if count >= 5 else 0.0
            assert min(held) >= least, lines[-1]
    tell("\n".join(lines))


@pytest.mark.parametrize(("width_in", "is_limit"), [(0.0098, True), (0.0102, False)])
def test_the_scatter_is_the_limit_once_the_depth_is_known_twice_as_well_as_the_next_ball(
    width_in: float, is_limit: bool
) -> None:
    depth = DepthEstimate(2.7, 0.001, (2.7 - width_in / 2, 2.7 + width_in / 2), 10)
    told = DepthKnowledge(depth, 0.005, (2.69, 2.71), (False,) * 10, 10, ScatterPrior(0.005, 4.0))
    assert told.is_scatter_the_limit == is_limit
