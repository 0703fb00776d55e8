from collections.abc import Callable

import numpy as np
import pytest
from scipy import stats

from app.calculation.tolerances import FINEST_DIVISION_IN, deviation, floored_doubt_in, judge_rim, repeated_reading


def test_measuring_until_the_verdict_pleases_passes_no_length_at_the_limit(tell: Callable[[str], None]) -> None:
    # simulation: true deviation just at the tolerance of 1/64, up to six pairs with a spread of 0.0045 in, seeded;
    # keeping only the last pair passed 14 of 100 at some look. Source of the bound: Bonferroni's inequality
    runs, spread, looks = 40_000, 0.0045, 6
    read = np.random.default_rng(14).normal(1 / 64, spread, (runs, looks))
    last, passed = np.zeros(runs, bool), np.zeros(runs, bool)
    for n in range(1, looks + 1):
        last |= np.abs(read[:, n - 1]) <= 1 / 64 - 1.96 * spread
        mean = read[:, :n].mean(1)
        squares = 8 * spread**2 + ((read[:, :n] - mean[:, None]) ** 2).sum(1)
        factor = 1.96 if n == 1 else stats.t.ppf(1 - 0.05 / n / 2, 8 + n - 1)
        half = factor * (spread * np.ones(runs) if n == 1 else np.sqrt(squares / (8 + n - 1) / n))
        passed |= np.abs(mean) <= 1 / 64 - half
        got = repeated_reading(list(read[0, :n]), spread)  # the arithmetic above is the program's own
        assert (got.mean_in, got.half_width_in) == pytest.approx((mean[0], half[0]), rel=1e-6)
    tell(f"passed at the limit within six pairs: {passed.mean():.3f}; by the last pair alone {last.mean():.3f}")
    assert last.mean() > 0.13
    assert passed.mean() <= 0.035


def test_repeating_does_not_average_out_the_division() -> None:
    ruled = repeated_reading([3.734375] * 20, 0.0045, division_in=1 / 64)
    assert ruled.standard_uncertainty_in == pytest.approx(1 / 64 / 12**0.5)  # JCGM 100:2008 F.2.2.1
    assert repeated_reading([3.734] * 20, 0.0045, division_in=0.001).standard_uncertainty_in < 0.001


@pytest.mark.parametrize("doubt", [-1.0, 0.0, 1e-12, 0.0002])
def test_no_doubt_is_less_than_its_divisions(doubt: float) -> None:
    assert floored_doubt_in(doubt) == pytest.approx(FINEST_DIVISION_IN / 12**0.5)  # JCGM 100:2008 4.3.7
    assert floored_doubt_in(doubt, 1 / 64) == pytest.approx(1 / 64 / 12**0.5)
    assert floored_doubt_in(0.01, 1 / 64) == 0.01


@pytest.mark.parametrize(("read", "freedom"), [([3.73, 3.74], np.inf), ([3.73, 3.735, 3.745], 5.0), ([3.73] * 4, 2.5)])
def test_the_nth_look_has_the_interval_of_its_pooled_spread(read: list[float], freedom: float) -> None:
    # outside source: numpy and scipy.stats.t; pooled estimate of JCGM 100:2008 4.2.4, Bonferroni's share for n looks
    prior, count = 8.0 if np.isinf(freedom) else freedom, len(read)
    variance = (prior * 0.004**2 + np.var(read) * count) / (prior + count - 1)
    got = repeated_reading(read, 0.004, freedom)
    u = np.sqrt(variance / count)
    assert got.mean_in == pytest.approx(np.mean(read), abs=1e-12)
    assert got.count == count
    assert got.standard_uncertainty_in == pytest.approx(u, rel=1e-9)
    assert got.half_width_in == pytest.approx(stats.t.ppf(1 - 0.025 / count, prior + count - 1) * u, rel=1e-6)


def test_one_reading_has_the_interval_of_its_gauge() -> None:
    # outside source: scipy.stats
    assert repeated_reading([3.73], 0.004).count == 1
    assert repeated_reading([3.73], 0.004).half_width_in == pytest.approx(stats.norm.ppf(0.975) * 0.004, rel=1e-4)
    assert repeated_reading([3.73], 0.004, 5.0).half_width_in == pytest.approx(stats.t.ppf(0.975, 5) * 0.004, rel=1e-6)


def test_a_single_reading_has_the_doubt_of_its_gauge() -> None:
    # source: k = 1.96 of JCGM 100:2008 G.1.3; outside source: scipy's Student's t
    one = repeated_reading([3.73], 0.004)
    assert (one.mean_in, one.count, one.standard_uncertainty_in) == (3.73, 1, 0.004)
    assert one.half_width_in == pytest.approx(1.96 * 0.004, rel=1e-9)
    assert repeated_reading([3.73], 0.004, 5.0).half_width_in == pytest.approx(stats.t.ppf(0.975, 5) * 0.004, rel=1e-9)


@pytest.mark.parametrize(
    ("lowest", "highest", "half", "verdict", "over_an_unknown"),
    [
        (0.0, 0.0, 0.0156, "flush", "measure"),
        (-0.010, 0.004, 0.0056, "flush", "measure"),
        (-0.004, 0.010, 0.0056, "flush", "measure"),
        (-0.010, 0.004, 0.0057, "measure", "measure"),
        (-0.004, 0.010, 0.0057, "measure", "measure"),
        (-0.020, 0.004, 0.0044, "measure", "measure"),
        (-0.020, 0.004, 0.0043, "sunk", "measure"),
        (-0.004, 0.020, 0.0043, "proud", "measure"),
        (0.020, 0.030, 0.0043, "proud", "proud"),
        (0.020, 0.030, 0.0044, "proud", "measure"),
        (-0.030, -0.020, 0.0043, "sunk", "sunk"),
        (-0.030, -0.020, 0.0044, "sunk", "measure"),
        (-0.016, 0.030, 0.0043, "leans", "measure"),
        (-0.030, 0.016, 0.0043, "leans", "measure"),
        (-0.015, 0.030, 0.0043, "proud", "measure"),
        (-0.030, 0.015, 0.0043, "sunk", "measure"),
        (-0.015625, 0.015625, 0.0, "flush", "measure"),
    ],
)  # by hand: 1/64 is 0.015625; the rim and its interval together within it, beyond it, or neither
def test_a_rim_is_judged_once_its_interval_is_on_one_side_of_the_lip(
    lowest: float, highest: float, half: float, verdict: str, over_an_unknown: str
) -> None:
    assert judge_rim(lowest, highest, half, 1 / 64) == verdict
    assert judge_rim(lowest, highest, half, 1 / 64, is_range=True) == over_an_unknown


@pytest.mark.parametrize(
    ("off_64", "half_64", "verdict", "is_settled"),
    [(2, 0, "within", True), (-2, 0, "within", True), (1, 1, "within", True), (3, 1, "long", True), (-3, 1, "short", True), (3, 2, "long", False), (1, 2, "within", False)],
)  # fmt: skip
def test_an_interval_that_ends_at_the_tolerance_settles_the_reading(
    off_64: int, half_64: int, verdict: str, is_settled: bool
) -> None:
    # by hand, tolerance 2/64: sixty-fourths are exact in binary, so an end on the limit is just on it
    found = deviation(4.0, 4.0 + off_64 / 64, 2 / 64, half_64 / 64)
    assert (found.verdict, found.is_settled) == (verdict, is_settled)


def test_a_rim_leans_only_where_it_is_beyond_the_lip_both_ways() -> None:
    # the rule, lip 1/64: a side just on the lip counts as within it, and one side alone beyond it stands proud or sunk
    assert judge_rim(-1 / 64, 3 / 64, 0.0, 1 / 64) == "proud"
    assert judge_rim(-3 / 64, 1 / 64, 0.0, 1 / 64) == "sunk"
    assert judge_rim(-2 / 64, 3 / 64, 0.0, 1 / 64) == "leans"
