import math
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from scipy import stats

from app.calculation.depths import (
    DepthEstimate,
    TrialReading,
    as_if_known,
    effective_freedom,
    half_width_after_one_more,
    student_factor,
    trial_fit_depth,
)
from app.calculation.errors import CannotBuildError
from app.calculation.tolerances import deviation


@pytest.mark.parametrize(
    ("freedom", "factor"),
    [
        (1, 12.71),
        (2, 4.30),
        (3, 3.18),
        (4, 2.78),
        (5, 2.57),
        (8, 2.31),
        (10, 2.23),
        (16, 2.12),
        (50, 2.01),
        (100, 1.984),
    ],
)
def test_student_factors_of_the_guide(freedom: int, factor: float) -> None:
    # source: JCGM 100:2008 table G.2, column 95 %; values from memory of the printed table
    assert student_factor(freedom) == pytest.approx(factor, abs=0.0051)


@given(st.floats(0.5, 400))
@example(0.5)
def test_student_factors_at_any_freedom_agree_with_scipy(freedom: float) -> None:
    # outside source: scipy.stats.t
    assert student_factor(freedom) == pytest.approx(stats.t.ppf(0.975, freedom), rel=1e-9)


def test_the_normal_factor_is_the_limit() -> None:
    assert student_factor(math.inf) == pytest.approx(stats.norm.ppf(0.975), abs=1e-12)


def test_the_end_gauge_of_the_guide_has_16_degrees_of_freedom() -> None:
    # source: JCGM 100:2008 H.1.6: parts 25, 9.7, 2.9 and 16.6 nm with 18, 25.6, 50 and 2; the rest of u² = 1002 nm²
    # is known with infinitely many; effective 16.7, t at 99 % and 16 is 2.92 (numbers from memory of the guide)
    parts = [(25.0, 18.0), (9.7, 25.6), (2.9, 50.0), (16.6, 2.0)]
    rest = math.sqrt(max(0.0, 1002 - sum(u * u for u, _ in parts)))
    assert effective_freedom([*parts, (rest, math.inf)]) == pytest.approx(16.7, abs=0.1)
    assert student_factor(16, 0.99) == pytest.approx(2.92, abs=0.005)


@given(st.floats(1, 200), st.floats(1e-4, 0.02))
def test_a_spread_known_badly_counts_as_the_wider_one_of_the_same_interval(freedom: float, u: float) -> None:
    # outside source: scipy.stats.t and scipy.stats.norm
    half = stats.t.ppf(0.975, freedom) * u
    assert as_if_known(u, freedom) * stats.norm.ppf(0.975) == pytest.approx(half, rel=1e-8)


def test_no_freedom_is_too_large() -> None:
    for freedom in (1e7, 1e9, 1e16, 1e300):
        assert student_factor(freedom) == pytest.approx(stats.norm.ppf(0.975), rel=1e-6)


def trial_by_scipy(
    wanted: np.ndarray, resolution: float, repeatability: float, freedom: float = 8.0
) -> tuple[np.ndarray, np.ndarray]:
    """Means and half widths of many runs of trial fits (rows) by numpy and scipy.stats.t: geometry paper, section 3."""
    count = wanted.shape[1]
    known = freedom + count - 1
    squares = ((wanted - wanted.mean(axis=1, keepdims=True)) ** 2).sum(axis=1)
    of_mean = (freedom * repeatability**2 + squares) / known / count
    u2 = of_mean + resolution**2 / 12
    return wanted.mean(axis=1), stats.t.ppf(0.975, known * u2**2 / of_mean**2) * np.sqrt(u2)


def test_one_reading_has_the_freedom_of_its_repeatability() -> None:
    # worked by hand: u² = (1/128)² + (1/64)²/12 with (1/128)² at 8 degrees of freedom; Welch and Satterthwaite: 14.22
    got = trial_fit_depth([TrialReading(2.75, -1 / 32)], 1 / 64, 1 / 128)
    u = math.sqrt((1 / 128) ** 2 + (1 / 64) ** 2 / 12)
    assert got.depth_in == 2.71875
    assert got.standard_uncertainty_in == pytest.approx(u, abs=1e-12)
    assert got.freedom == pytest.approx(8 * (4 / 3) ** 2, rel=1e-12)
    half = stats.t.ppf(0.975, got.freedom) * u
    assert got.interval_in == pytest.approx((2.71875 - half, 2.71875 + half), abs=1e-9)


@pytest.mark.parametrize("seed", range(8))
def test_readings_and_repeatability_are_pooled(seed: int) -> None:
    # outside source: numpy and scipy.stats.t
    pick = np.random.default_rng(seed)
    wanted = 2.7 + pick.normal(0, pick.choice([0.001, 0.008, 0.03]), (1, seed + 1))
    freedom = float(pick.choice([2.5, 8.0, 40.0]))
    got = trial_fit_depth([TrialReading(2.5, w - 2.5) for w in wanted[0]], 1 / 64, 1 / 128, freedom)
    mean, half = trial_by_scipy(wanted, 1 / 64, 1 / 128, freedom)
    assert got.depth_in == pytest.approx(mean[0], abs=1e-12)
    assert got.interval_in == pytest.approx((mean[0] - half[0], mean[0] + half[0]), abs=1e-9)


def test_readings_that_agree_by_luck_are_not_sure_by_luck() -> None:
    # three readings in one 64th leave 8 of 10 degrees of freedom to the starting repeatability
    got = trial_fit_depth([TrialReading(2.75, 0.0)] * 3, 1 / 64, 1 / 128)
    _, half = trial_by_scipy(np.full((1, 3), 2.75), 1 / 64, 1 / 128)
    assert (got.interval_in[1] - got.interval_in[0]) / 2 == pytest.approx(half[0], abs=1e-9)
    assert half[0] > stats.norm.ppf(0.975) / 64 / math.sqrt(12)


@pytest.mark.parametrize(("resolution", "repeatability"), [(1 / 64, 1 / 128), (1 / 64, 1 / 64), (1 / 128, 1 / 128), (0.001, 0.002)])  # fmt: skip
def test_trial_fits_hold_what_they_promise(
    resolution: float, repeatability: float, tell: Callable[[str], None]
) -> None:
    # simulation: 20,000 runs a cell; a true depth anywhere, read with a true spread, written to the division
    pick, runs = np.random.default_rng(5), 20_000
    for spread in (repeatability / 4, repeatability / 2, repeatability):
        shown = []
        for count in (1, 2, 3, 5, 8, 12, 20):
            true = 2.7 + pick.uniform(-0.5, 0.5, (runs, 1)) * resolution
            wanted = np.round((true + pick.normal(0, spread, (runs, count))) / resolution) * resolution
            mean, half = trial_by_scipy(wanted, resolution, repeatability)
            held = float(np.mean(np.abs(mean - true[:, 0]) <= half))
            shown.append(f"{count}: {100 * held:.1f}")
            assert held >= 0.93, (spread, count, held)
        told = f"trial fits, division {resolution:.4f}, stated spread {repeatability:.4f}, true spread {spread:.4f}"
        tell(f"{told}: % inside by number of readings {', '.join(shown)}")


def test_no_reading_is_refused() -> None:
    with pytest.raises(CannotBuildError):
        trial_fit_depth([], 1 / 64, 1 / 128)


def test_one_more_trial_narrows_the_interval() -> None:
    readings = [TrialReading(2.75, -0.03), TrialReading(2.72, 0.005)]
    two = trial_fit_depth(readings, 1 / 64, 1 / 128)
    half = (two.interval_in[1] - two.interval_in[0]) / 2
    wanted = [r.trial_depth_in + r.proud_in for r in readings]
    pooled = math.sqrt((8 * (1 / 128) ** 2 + np.var(wanted) * 2) / 9)
    third = TrialReading(
        2.72, float(np.mean(wanted)) - 2.72 + pooled * math.sqrt(3 / 2)
    )  # adds just the pooled variance
    three = trial_fit_depth([*readings, third], 1 / 64, 1 / 128)
    after = half_width_after_one_more(two, 1 / 64)
    assert after == pytest.approx((three.interval_in[1] - three.interval_in[0]) / 2, abs=1e-9)
    assert after < half


def test_a_difference_of_exactly_the_tolerance_is_within_it() -> None:
    assert deviation(3.735, 3.735 + 1 / 64, 1 / 64).verdict == "within"
    assert deviation(3.735, 3.735 + 1 / 64 + 1e-6, 1 / 64).verdict == "long"
    assert deviation(3.735, 3.735 - 1 / 32, 1 / 64).verdict == "short"


@pytest.mark.parametrize(
    ("difference_64ths", "again"), [(0.0, False), (0.5, True), (1.0, True), (1.5, True), (2.5, False), (-1.5, True)]
)
def test_one_reading_near_the_tolerance_settles_nothing(difference_64ths: float, again: bool) -> None:
    # outside source: the guard band w = U of ILAC-G8:09/2019; U = 1.96 × 1/128 in, scipy's normal quantile
    spread = 1 / 128
    guard = stats.norm.ppf(0.975) * spread
    difference = difference_64ths / 64
    assert again == (1 / 64 - guard < abs(difference) < 1 / 64 + guard)
    assert deviation(3.735, 3.735 + difference, 1 / 64, guard).is_settled != again


def test_a_division_coarser_than_the_readings_doubt_is_all_that_one_more_trial_leaves() -> None:
    # JCGM 100:2008 4.3.7 and scipy's normal: an estimate kept from before the shop read to 1/16 holds no spread beyond it
    estimate = DepthEstimate(2.75, 0.004, (2.742, 2.758), 2)
    expected = stats.norm.ppf(0.975) / 16 / math.sqrt(12)
    assert half_width_after_one_more(estimate, 1 / 16) == pytest.approx(expected, abs=1e-9)
