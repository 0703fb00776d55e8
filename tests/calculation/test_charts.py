from collections.abc import Callable

import numpy as np
import pytest
from scipy.special import stdtrit
from scipy.stats import norm
from statsmodels.api import OLS

from app.calculation.charts import (
    EWMA_WEIGHT,
    EWMA_WIDTH,
    SET_UP_READINGS,
    WILD_WIDTH,
    collar_chart,
    ewma_chart,
    individuals_chart,
)
from app.calculation.errors import CannotBuildError
from app.calculation.gauges import gauge_study
from tests.calculation.test_sphere import CASES
from tests.conftest import not_none


def test_the_individuals_chart_of_the_handbook() -> None:
    case = CASES["individuals chart"]  # source: see the file
    chart, expected = individuals_chart(case["data"]), case["expected"]
    assert chart.mean == pytest.approx(expected["mean"], abs=5e-3)
    assert chart.mean_moving_range == pytest.approx(expected["mean_moving_range"], abs=5e-5)
    assert chart.upper_limit == pytest.approx(expected["upper_limit"], abs=5e-4)
    assert chart.lower_limit == pytest.approx(expected["lower_limit"], abs=5e-4)
    # D4 = 3.267 for ranges of two: D. C. Montgomery, Introduction to Statistical Quality Control, appendix VI
    assert chart.sigma == pytest.approx((chart.upper_limit - chart.mean) / 3, rel=1e-12)
    assert chart.moving_range_limit == pytest.approx(3.267 * chart.mean_moving_range, rel=1e-9)


def test_the_ewma_chart_of_the_handbook() -> None:
    case = CASES["EWMA chart"]  # source: see the file
    chart = ewma_chart(case["data"], case["target"], case["s"], case["lambda"], case["L"])
    assert chart.averages == pytest.approx(case["expected"]["ewma"], abs=0.0051)
    assert chart.upper_limits[-1] == pytest.approx(case["expected"]["upper_limit"], abs=2e-3)
    assert chart.lower_limits[-1] == pytest.approx(case["expected"]["lower_limit"], abs=2e-3)
    assert chart.first_signal is None


def test_the_gauge_study_of_the_manual() -> None:
    case = CASES["gauge study, ANOVA without interaction"]  # source: see the file
    got, expected = gauge_study(list(case["data"].values())), case["expected"]
    assert got.repeatability == pytest.approx(expected["repeatability"], abs=5e-7)
    assert got.reproducibility == pytest.approx(expected["reproducibility"], abs=5e-7)
    assert got.gauge == pytest.approx(expected["gauge"], abs=2e-6)  # printed from rounded parts
    assert got.part == pytest.approx(expected["part"], abs=5e-7)


@pytest.mark.parametrize(
    "readings",
    [[], [[[1.0], [1.0]]], [[[1.0, 2.0]], [[1.0, 2.0]]], [[[1.0, 2.0], [1.0]], [[1.0, 2.0], [1.0, 2.0]]]],
)
def test_a_study_with_holes_is_refused(readings: list[list[list[float]]]) -> None:
    with pytest.raises(CannotBuildError):
        gauge_study(readings)


def test_the_variance_components_are_those_of_a_statistics_library() -> None:
    # outside source: statsmodels' two-way analysis of variance on the published study, components from its mean squares
    data = list(CASES["gauge study, ANOVA without interaction"]["data"].values())
    rows = [(p, k, v) for p, person in enumerate(data) for trial in person for k, v in enumerate(trial)]
    people, trials, parts = len(data), len(data[0]), len(data[0][0])
    person, part, value = (np.array(column) for column in zip(*rows, strict=True))
    means = np.column_stack([person == p for p in range(people)] + [part == k for k in range(1, parts)]).astype(float)
    full = OLS(value, means)
    fitted = full.fit()
    without = OLS(value, np.column_stack([part == k for k in range(parts)]).astype(float)).fit()
    error = fitted.ssr / fitted.df_resid
    between = (without.ssr - fitted.ssr) / (people - 1)
    got = gauge_study(data)
    assert got.repeatability == pytest.approx(error**0.5, rel=1e-9)
    assert got.reproducibility == pytest.approx(((between - error) / trials / parts) ** 0.5, rel=1e-9)


def test_a_study_of_many_people_has_the_freedom_of_welch_and_satterthwaite() -> None:
    # JCGM 100:2008 (G.2b) on the two mean squares; with 40 people the correction for few people is gone
    pick = np.random.default_rng(8)
    read = pick.normal(0, 0.5, (40, 1, 1)) + pick.normal(0, 1, (40, 3, 3))
    got = gauge_study(read.tolist())
    error, between = got.repeatability**2, 9 * got.reproducibility**2 + got.repeatability**2
    parts = (error * 8 / 9, 360 - 42 + 0), (between / 9, 39)
    plain = sum(v for v, _ in parts) ** 2 / sum(v * v / f for v, f in parts)
    assert got.freedom == pytest.approx(plain, rel=0.01)


@pytest.mark.parametrize(
    ("people", "trials", "parts", "differ", "division"),
    [(1, 3, 4, 0.0, 0.0), (2, 2, 3, 2.0, 0.0), (3, 4, 2, 0.5, 1.0), (3, 2, 5, 0.3, 6.0), (1, 2, 2, 0.0, 6.0), (4, 2, 2, 9.0, 0.5)],
)  # fmt: skip
def test_every_figure_of_a_study_is_that_of_its_mean_squares(
    people: int, trials: int, parts: int, differ: float, division: float
) -> None:
    # outside source: numpy's means and scipy's t; JCGM 100:2008 G.4.1 with the two corrections that are stated
    pick = np.random.default_rng(people * trials * parts)
    read = pick.normal(0, differ, (people, 1, 1)) + pick.normal(0, 1, (people, trials, parts)) + 5 * np.arange(parts)
    person, part, cells = read.mean((1, 2)), read.mean((0, 1)), trials * parts
    freedom = read.size - people - parts + 1
    rest = read - person[:, None, None] - part + read.mean()
    error = (rest**2).sum() / freedom
    between = max(error, cells * person.var(ddof=1)) if people > 1 else error
    floor = division / 12**0.5
    gauge = max((error + (between - error) / cells) ** 0.5, floor)
    if people == 1:
        known = gauge**4 * freedom / error**2
    else:
        counted = (people - 1) / (1 + 5 / (people - 1) ** 2)
        seen = max(between / cells, 0.2 * floor**2)
        known = gauge**4 / ((error * (1 - 1 / cells)) ** 2 / freedom + seen**2 / counted)
        known = max(known, people - 1)
    got = gauge_study(read.tolist(), division)
    of_parts = max(0.0, people * trials * part.var(ddof=1) - error) / (people * trials)
    assert (got.repeatability, got.gauge, got.people) == pytest.approx((error**0.5, gauge, people), rel=1e-9)
    assert got.reproducibility == pytest.approx(((between - error) / cells) ** 0.5, rel=1e-9)
    assert got.part == pytest.approx(of_parts**0.5, rel=1e-9)
    assert got.total == pytest.approx((gauge**2 + of_parts) ** 0.5, rel=1e-9)
    assert got.freedom == pytest.approx(known, rel=1e-9)
    assert got.half_width == pytest.approx(stdtrit(known, 0.975) * gauge, rel=1e-6)


def test_people_who_agree_everywhere_know_only_their_division() -> None:
    # by hand: with nothing seen, two people's fifth of the division's variance counts 1/6 of a degree: 6 × 0.2² of it
    same = [[[1.0, 2.0], [1.0, 2.0]], [[1.0, 2.0], [1.0, 2.0]]]
    got = gauge_study(same, 1.0)
    assert (got.gauge, got.freedom) == pytest.approx((1 / 12**0.5, 1 / (6 * 0.2**2)), rel=1e-12)
    assert (got.repeatability, got.reproducibility, got.part) == pytest.approx((0, 0, 0.5**0.5), abs=1e-12)
    assert np.isinf(gauge_study(same[:1], 1.0).freedom) and np.isinf(gauge_study(same).freedom)


def simulated_studies(people: int, differ: float, division: float, runs: int, seed: int) -> tuple[float, float]:
    """Share of new readings that a study's 95 % interval holds, with k = 1.96 and with the program's own freedom.

    The gauge repeats within 1, people differ by `differ`, readings are rounded to `division`; 3 parts, 3 times.
    """
    pick = np.random.default_rng(seed)

    def rounded(values: np.ndarray) -> np.ndarray:
        return np.round(values / division) * division if division else values

    places = pick.uniform(0, 10, (runs, 1, 1, 3))
    off = pick.normal(0, differ, (runs, people, 1, 1)) if people > 1 else 0.0
    read = rounded(places + off + pick.normal(0, 1, (runs, people, 3, 3)))
    freedom = people * 9 - people - 2
    person, part = read.mean((2, 3)), read.mean((1, 2))
    rest = read - person[:, :, None, None] - part[:, None, None, :] + read.mean((1, 2, 3))[:, None, None, None]
    error = (rest**2).sum((1, 2, 3)) / freedom
    between = np.maximum(error, 9 * person.var(1, ddof=1)) if people > 1 else error
    gauge = np.sqrt(error + (between - error) / 9)
    gauge = np.maximum(gauge, division / 12**0.5)
    shares, least = error**2 / freedom, freedom
    if people > 1:
        counted = (people - 1) / (1 + 5 / (people - 1) ** 2)
        shares, least = (
            (error * 8 / 9) ** 2 / freedom + np.maximum(between / 9, division**2 / 60) ** 2 / counted,
            people - 1,
        )
    own = np.where(shares > 1e-20, np.maximum(gauge**4 / np.maximum(shares, 1e-20), least), 1e9)
    for i in range(5):  # the arithmetic above is the program's own
        got = gauge_study(read[i].tolist(), division)
        assert got.gauge == pytest.approx(gauge[i], rel=1e-9)
        assert min(got.freedom, 1e9) == pytest.approx(own[i], rel=1e-9)
    factor = stdtrit(own, 0.975)
    truth = pick.uniform(0, 10, runs)
    new = rounded(truth + pick.normal(0, differ if people > 1 else 0.0, runs) + pick.normal(0, 1, runs)) - truth
    return float((np.abs(new) <= 1.96 * gauge).mean()), float((np.abs(new) <= factor * gauge).mean())


def test_the_interval_of_a_gauge_study_covers_what_it_states(tell: Callable[[str], None]) -> None:
    for people in (1, 2, 3):
        for differ in (0.0, 0.5, 1.0, 2.0, 4.0) if people > 1 else (0.0,):
            for division in (0.0, 1.0, 5.0, 6.0):
                before, now = simulated_studies(people, differ, division, 20_000, people)
                differing = f"{people} people differing {differ}, division {division}"
                tell(f"gauge study, {differing}: {now:.3f} (k 1.96 {before:.3f})")
                assert now >= 0.93, (people, differ, division)


# J. M. Lucas and M. S. Saccucci, Technometrics 32 (1990) 1, for lambda 0.2 and L 2.962 with fixed limits, as tabulated
# in D. C. Montgomery, Introduction to Statistical Quality Control, table 9.11 (values from memory, held against the
# Markov chain below): average run length by shift in standard deviations
PUBLISHED_RUN_LENGTHS = {0.0: 500, 0.5: 41.8, 1.0: 10.5, 2.0: 3.7, 3.0: 2.4}
RUNS, BORES = 20_000, 42  # 50 bores less those of the set-up


def markov_run_length(shift: float, states: int = 401) -> float:
    """Average run length with fixed limits by D. Brook and D. A. Evans, Biometrika 59 (1972) 539: a matrix of steps."""
    weight, limit = EWMA_WEIGHT, EWMA_WIDTH * np.sqrt(EWMA_WEIGHT / (2 - EWMA_WEIGHT))
    width = 2 * limit / states
    middles = -limit + width * (np.arange(states) + 0.5)
    start = (1 - weight) * middles[:, None]
    steps = norm.cdf((middles + width / 2 - start) / weight - shift) - norm.cdf(
        (middles - width / 2 - start) / weight - shift
    )
    return float(np.linalg.solve(np.eye(states) - steps, np.ones(states))[states // 2])


def run_lengths(shift: float, spread: float, seed: int, most: int, is_known: bool = False) -> np.ndarray:
    """Bores after the set-up until `collar_chart`'s rule signals, RUNS collars at once; `most` + 1 where it does not.

    The stated spread is 1. `is_known`: centre and spread known exactly, limits fixed at their end.
    """
    pick = np.random.default_rng(seed)
    first = pick.normal(0, spread, (RUNS, SET_UP_READINGS))
    centre, sigma = first.mean(1), np.maximum(first.std(1, ddof=1), 1.0)
    doubt = sigma / np.sqrt(SET_UP_READINGS)
    if is_known:
        centre, sigma, doubt = np.zeros(RUNS), np.ones(RUNS), np.zeros(RUNS)
    wild = WILD_WIDTH * np.hypot(sigma, doubt) if not is_known else np.inf
    average, lengths = np.zeros(RUNS), np.full(RUNS, most + 1)
    for i in range(1, most + 1):
        left = 1 - EWMA_WEIGHT
        off = np.clip(pick.normal(shift, spread, RUNS) - centre, -wild, wild)
        average = EWMA_WEIGHT * off + left * average
        share = EWMA_WEIGHT / (2 - EWMA_WEIGHT) * (1 if is_known else 1 - left ** (2 * i))
        reach = EWMA_WIDTH * np.hypot(sigma * np.sqrt(share), doubt * (1 - left**i))
        lengths[(np.abs(average) > reach) & (lengths > most)] = i
    return lengths


@pytest.mark.parametrize(("shift", "published"), PUBLISHED_RUN_LENGTHS.items())
def test_the_limits_have_the_published_average_run_length(shift: float, published: float) -> None:
    assert markov_run_length(shift) == pytest.approx(published, rel=0.02)
    if shift >= 1:
        assert run_lengths(shift, 1.0, 1990, 200, is_known=True).mean() == pytest.approx(published, rel=0.03)


def test_a_steady_collar_is_left_alone_and_a_slip_is_told(tell: Callable[[str], None]) -> None:
    false = {spread: (run_lengths(0.0, spread, 5, BORES) <= BORES).mean() for spread in (0.5, 1.0, 2.0)}
    told = {slip: float(np.median(run_lengths(slip, 1.0, 7, 400))) for slip in (1.0, 2.0, 3.0)}
    tell(f"collar chart, spread over stated: false signals within 50 bores {false}; slip in spreads: bores {told}")
    assert false[0.5] <= false[1.0] <= 0.04  # stated on the page: 4 in 100
    assert false[2.0] <= 0.18  # a shop that scatters twice what it states; 0.43 before centre and spread were fixed
    assert (told[2.0], told[3.0]) == (4, 2)  # stated on the page


def test_the_simulated_rule_is_the_programs_own() -> None:
    pick = np.random.default_rng(11)
    for shift in (0.0, 1.0, 2.5):
        values = np.concatenate([pick.normal(0, 1, SET_UP_READINGS), pick.normal(shift, 1, 60)])
        chart = not_none(collar_chart(list(values), 1.0))
        centre, sigma = values[:8].mean(), max(values[:8].std(ddof=1), 1.0)
        average, signal, averages, reaches = 0.0, None, [], []
        for i, value in enumerate(values[8:], 1):
            held = np.clip(value - centre, -4 * sigma * (9 / 8) ** 0.5, 4 * sigma * (9 / 8) ** 0.5)
            average = 0.2 * held + 0.8 * average
            reach = 2.962 * sigma * ((1 - 0.8 ** (2 * i)) / 9 + (1 - 0.8**i) ** 2 / 8) ** 0.5
            averages.append(centre + average)
            reaches.append(reach)
            signal = i + 7 if signal is None and abs(average) > reach else signal
        assert (chart.centre, chart.sigma) == pytest.approx((centre, sigma))
        assert chart.slipped_at == signal
        assert chart.ewma.averages == pytest.approx(averages, abs=1e-12)
        assert chart.ewma.upper_limits == pytest.approx(centre + np.array(reaches), abs=1e-12)
        assert chart.ewma.lower_limits == pytest.approx(centre - np.array(reaches), abs=1e-12)


@pytest.mark.parametrize(
    ("shift", "last", "is_off_target", "is_last_wild"),
    [(0.0, 0.0, False, False), (1.05, 0.0, False, False), (1.07, 0.0, True, False), (-1.07, 0.0, True, False), (0.0, 4.2, False, False), (0.0, 4.3, False, True), (0.0, -4.3, False, True)],
)  # fmt: skip
def test_a_wrong_set_up_and_a_wild_bore_are_told_apart(
    shift: float, last: float, is_off_target: bool, is_last_wild: bool
) -> None:
    # by hand, in stated spreads: three standard errors of eight are 3/√8 = 1.061, four of one bore 4√(9/8) = 4.243
    first = [shift + off for off in (-0.5, 0.5, -0.5, 0.5, -0.5, 0.5, -0.5, 0.5)]
    chart = not_none(collar_chart([*first, shift, shift + last], 1.0))
    assert (chart.sigma, chart.is_off_target, chart.is_last_wild) == (1.0, is_off_target, is_last_wild)
    assert chart.ewma.averages[-1] - chart.centre == pytest.approx(0.2 * max(-4.243, min(last, 4.243)), abs=2e-4)
    assert not not_none(collar_chart(first, 1.0)).is_last_wild


def test_before_the_set_up_readings_a_chart_says_nothing() -> None:
    assert collar_chart([0.1] * 7, 1.0) is None
    assert not_none(collar_chart([0.1] * 8, 1.0)).slipped_at is None
