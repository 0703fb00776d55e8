import math
import random

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats
from statsmodels.stats.meta_analysis import combine_effects

from app.calculation.depths import (
    KnownDepth,
    TrialReading,
    effective_freedom,
    half_width_after_one_more,
    shop_depth,
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
def test_student_factors_of_the_guide(freedom, factor):
    # source: JCGM 100:2008 table G.2, column 95 %; values from memory of the printed table
    assert student_factor(freedom) == pytest.approx(factor, abs=0.0051)


@given(st.floats(0.9, 400))
def test_student_factors_at_any_freedom_agree_with_scipy(freedom):
    # outside source: scipy.stats.t
    assert student_factor(freedom) == pytest.approx(stats.t.ppf(0.975, freedom), rel=1e-9)


def test_the_normal_factor_is_the_limit():
    assert student_factor(math.inf) == pytest.approx(stats.norm.ppf(0.975), abs=1e-12)


def test_the_end_gauge_of_the_guide_has_16_degrees_of_freedom():
    # source: JCGM 100:2008 H.1.6: parts 25, 9.7, 2.9 and 16.6 nm with 18, 25.6, 50 and 2; the rest of u² = 1002 nm²
    # is known with infinitely many; effective 16.7, t at 99 % and 16 is 2.92 (numbers from memory of the guide)
    parts = [(25.0, 18.0), (9.7, 25.6), (2.9, 50.0), (16.6, 2.0)]
    rest = math.sqrt(max(0.0, 1002 - sum(u * u for u, _ in parts)))
    assert effective_freedom([*parts, (rest, math.inf)]) == pytest.approx(16.7, abs=0.1)
    assert student_factor(16, 0.99) == pytest.approx(2.92, abs=0.005)


def test_one_reading_is_trusted_as_far_as_its_repeatability():
    got = trial_fit_depth([TrialReading(2.75, -1 / 32)], 1 / 64, 1 / 128)
    u = math.sqrt((1 / 128) ** 2 + (1 / 64) ** 2 / 12)
    assert got.depth_in == 2.71875
    assert got.standard_uncertainty_in == pytest.approx(u, abs=1e-12)
    assert got.interval_in == pytest.approx((2.71875 - 1.96 * u, 2.71875 + 1.96 * u), abs=1e-12)


def test_several_readings_use_their_own_scatter():
    # outside source: scipy.stats for mean, standard error and Student t with Welch-Satterthwaite freedom
    readings = [TrialReading(2.75, -0.03), TrialReading(2.72, 0.005), TrialReading(2.73, -0.012)]
    wanted = [r.trial_depth_in + r.proud_in for r in readings]
    got = trial_fit_depth(readings, 1 / 64, 1 / 128)
    scatter, rounding = stats.sem(wanted) ** 2, (1 / 64) ** 2 / 12
    u = math.sqrt(scatter + rounding)
    freedom = u**4 / (scatter**2 / 2)
    half = stats.t.ppf(0.975, freedom) * u
    assert got.depth_in == pytest.approx(sum(wanted) / 3, abs=1e-12)
    assert got.standard_uncertainty_in == pytest.approx(u, abs=1e-12)
    assert got.interval_in == pytest.approx((got.depth_in - half, got.depth_in + half), abs=1e-9)


def test_readings_that_agree_to_the_last_division_still_have_a_width():
    got = trial_fit_depth([TrialReading(2.75, 0.0)] * 3, 1 / 64, 1 / 128)
    assert got.interval_in[1] - got.interval_in[0] == pytest.approx(2 * 1.959964 / 64 / math.sqrt(12), abs=1e-6)


def test_no_reading_is_refused():
    with pytest.raises(CannotBuildError):
        trial_fit_depth([], 1 / 64, 1 / 128)


def test_two_observations_weigh_what_is_surer():
    got = shop_depth([KnownDepth(2.70, 0.01), KnownDepth(2.71, 0.02)])
    assert got.estimate.depth_in == pytest.approx((2.70 * 4 + 2.71) / 5, abs=1e-12)
    assert got.estimate.standard_uncertainty_in == pytest.approx(1 / math.sqrt(1e4 + 2500), abs=1e-12)
    assert got.next_ball_in is None


def test_observations_that_disagree_widen_the_answer():
    got = shop_depth([KnownDepth(2.60, 0.005), KnownDepth(2.80, 0.005)]).estimate
    assert got.standard_uncertainty_in == pytest.approx(0.1, abs=1e-6)


@pytest.mark.parametrize("seed", range(12))
def test_a_shops_scatter_and_mean_agree_with_a_meta_analysis_library(seed):
    # outside source: statsmodels.stats.meta_analysis, Paule-Mandel variance ("iterated") and Hartung-Knapp error
    pick = np.random.default_rng(seed)
    u = pick.uniform(0.004, 0.016, 6)
    depths = 2.7 + pick.normal(0, 0.012, 6) + pick.normal(0, u)
    got = shop_depth([KnownDepth(float(d), float(s)) for d, s in zip(depths, u, strict=True)])
    known = combine_effects(depths, u**2, method_re="iterated", use_t=True)
    assert got.scatter_in**2 == pytest.approx(known.tau2, abs=1e-8)
    assert got.estimate.depth_in == pytest.approx(known.mean_effect_re, abs=1e-6)
    if known.tau2 > 1e-9:
        assert got.estimate.standard_uncertainty_in == pytest.approx(known.sd_eff_w_re_hksj, rel=1e-3)


def test_the_next_ball_is_less_sure_than_the_mean():
    got = shop_depth([KnownDepth(d, 0.004) for d in (2.690, 2.712, 2.698, 2.707, 2.681, 2.703, 2.695, 2.709)])
    low, high = got.estimate.interval_in
    assert got.next_ball_in[0] < low < high < got.next_ball_in[1]
    assert got.is_scatter_the_limit


def test_a_stray_reading_is_marked_and_not_dropped():
    known = [KnownDepth(d, 0.004) for d in (2.700, 2.702, 2.699, 2.701, 2.640)]
    got = shop_depth(known)
    assert got.strays == (False, False, False, False, True)
    assert got.estimate.readings == 5
    assert got.without[4] > got.estimate.depth_in


def test_leaving_one_out_is_the_answer_of_the_others():
    known = [KnownDepth(2.70, 0.004), KnownDepth(2.72, 0.006), KnownDepth(2.69, 0.01), KnownDepth(2.71, 0.008)]
    got = shop_depth(known)
    assert got.without[1] == pytest.approx(shop_depth([known[0], *known[2:]]).estimate.depth_in, abs=1e-12)


def test_about_95_of_100_intervals_hold_the_truth():
    # simulation: 2,000 invented shops with a known true depth and eight readings each, seeded
    pick = random.Random(8)
    held = 0
    for _ in range(2_000):
        known = []
        for _ in range(8):
            u = pick.choice((0.004, 1 / 128, 1 / 64))
            known.append(KnownDepth(2.7 + pick.gauss(0, 0.012) + pick.gauss(0, u), u))
        low, high = shop_depth(known).estimate.interval_in
        held += low <= 2.7 <= high
    assert 0.93 <= held / 2_000 <= 0.97


def test_one_more_trial_narrows_the_interval():
    readings = [TrialReading(2.75, -0.03), TrialReading(2.72, 0.005)]
    two = trial_fit_depth(readings, 1 / 64, 1 / 128)
    half = (two.interval_in[1] - two.interval_in[0]) / 2
    assert half_width_after_one_more(two, 0.004, 1 / 64) < half


def test_a_difference_of_exactly_the_tolerance_is_within_it():
    assert deviation(3.735, 3.735 + 1 / 64, 1 / 64).verdict == "within"
    assert deviation(3.735, 3.735 + 1 / 64 + 1e-6, 1 / 64).verdict == "long"
    assert deviation(3.735, 3.735 - 1 / 32, 1 / 64).verdict == "short"


@pytest.mark.parametrize(
    ("difference_64ths", "again"), [(0.0, False), (0.5, True), (1.0, True), (1.5, True), (2.5, False), (-1.5, True)]
)
def test_one_reading_near_the_tolerance_settles_nothing(difference_64ths, again):
    # outside source: the guard band w = U of ILAC-G8:09/2019; U = 1.96 × 1/128 in, scipy's normal quantile
    spread = 1 / 128
    guard = stats.norm.ppf(0.975) * spread
    difference = difference_64ths / 64
    assert again == (1 / 64 - guard < abs(difference) < 1 / 64 + guard)
    assert deviation(3.735, 3.735 + difference, 1 / 64, spread).is_settled != again
