"""Simulated shops, seeded and drawn with numpy: what verdicts come to, held against the quadrature; scipy.stats for t."""

from collections.abc import Callable

import numpy as np
import pytest
from scipy import stats

from app.calculation.tolerances import deviation, judge_rim, repeated_reading
from app.calculation.verdict_rates import FAULT_IN, WORK_IN, drilling_rates, rim_rates

DRILLINGS = 200_000
SAME = (
    0.004  # shares; over three standard deviations of a share of so many drillings, and the rounding of 1/128 to 0.008
)
CAREFUL_IN = 0.008  # spread of a careful shop's readings
TOLERANCES, DOUBTS = (1 / 64, 1 / 32), (1 / 64, 1 / 128, 0.005)


def look(read: np.ndarray, tolerance: float, doubt: float, freedom: float) -> np.ndarray:
    """2 where within and settled, 1 where settled outside, 0 where not settled; readings by (drilling, finger, look)."""
    count, mean = read.shape[2], read.mean(2)
    if count == 1:
        t = stats.norm.ppf(0.975) if np.isinf(freedom) else stats.t.ppf(0.975, freedom)
        half = np.full(mean.shape, t * doubt)
    else:
        prior = 8.0 if np.isinf(freedom) else freedom
        squares = prior * doubt**2 + ((read - mean[..., None]) ** 2).sum(2)
        half = stats.t.ppf(1 - 0.05 / count / 2, prior + count - 1) * np.sqrt(squares / (prior + count - 1) / count)
    got = repeated_reading(list(read[0, 0]), doubt, freedom)
    assert (got.mean_in, got.half_width_in) == pytest.approx(
        (mean[0, 0], half[0, 0]), rel=1e-4
    )  # the program's own rule
    settled, within = np.abs(np.abs(mean) - tolerance) >= half, np.abs(mean) <= tolerance
    one = deviation(0.0, mean[0, 0], tolerance, half[0, 0])
    assert one.is_settled == (abs(abs(mean[0, 0]) - tolerance) >= half[0, 0])
    assert (one.verdict == "within") == (abs(mean[0, 0]) <= tolerance)
    return np.where(settled, 1 + within, 0)


def shop(
    true: np.ndarray, spread: float, tolerance: float, doubt: float, freedom: float, seed: int
) -> tuple[float, float, float]:
    """Shares green by one pair, green by two pairs at most, and not settled then."""
    read = true[..., None] + np.random.default_rng(seed).normal(0, spread, (*true.shape, 2))
    first, second = (look(read[..., :n], tolerance, doubt, freedom) for n in (1, 2))
    last = np.where((first > 0).all(1, keepdims=True), first, second)
    return (first == 2).all(1).mean(), (last == 2).all(1).mean(), (last == 0).any(1).mean()


def work(seed: int) -> np.ndarray:
    return np.random.default_rng(seed).uniform(-WORK_IN, WORK_IN, (DRILLINGS, 2))


def faults(tolerance: float, seed: int) -> np.ndarray:
    true = work(seed)
    true[:, 0] = tolerance + FAULT_IN
    return true


@pytest.mark.parametrize("freedom", [np.inf, 5.0])
@pytest.mark.parametrize("doubt", DOUBTS)
@pytest.mark.parametrize("tolerance", TOLERANCES)
def test_a_drillings_rates_are_those_of_simulated_shops(
    tolerance: float, doubt: float, freedom: float, tell: Callable[[str], None]
) -> None:
    once, green, again = shop(work(1), doubt, tolerance, doubt, freedom, 2)
    missed = shop(faults(tolerance, 3), doubt, tolerance, doubt, freedom, 4)[1]
    got = drilling_rates(tolerance, doubt, freedom)
    assert (got.green_once, got.green, got.again, got.missed) == pytest.approx((once, green, again, missed), abs=SAME)
    tell(
        f"tolerance {tolerance * 64:g}/64, doubt {doubt:.4f}, freedom {freedom:g}: green {once:.1%} by one pair, "
        f"{green:.1%} by two at most, measure again {again:.1%}; faults passed {missed:.2%}"
    )


@pytest.mark.parametrize("doubt", [0.002, 0.005, 1 / 64])
@pytest.mark.parametrize("lip", [1 / 64, 1 / 32])
def test_the_rates_of_an_inner_in_another_ball_are_those_of_simulated_bores(
    lip: float, doubt: float, tell: Callable[[str], None]
) -> None:
    pick = np.random.default_rng(5)
    half = stats.norm.ppf(0.975) * np.sqrt(2) * doubt
    read = (work(6) + pick.normal(0, doubt, (DRILLINGS, 2))) @ [1, -1]
    worst = np.abs(read)
    fault = np.abs(lip + FAULT_IN + pick.normal(0, doubt * np.sqrt(2), DRILLINGS))
    flush, again = (worst + half <= lip).mean(), ((worst + half > lip) & (worst - half <= lip)).mean()
    for height in read[:200]:
        assert (judge_rim(height, height, half, lip) == "flush") == (abs(height) + half <= lip)
    got = rim_rates(lip, doubt)
    assert (got.green, got.again) == pytest.approx((flush, again), abs=SAME)
    assert got.missed == pytest.approx((fault + half <= lip).mean(), abs=SAME)
    tell(f"lip {lip * 64:g}/64, doubt of each depth {doubt:.4f}: flush {flush:.1%}, measure first {again:.1%}")


def test_no_doubt_at_all_or_one_beyond_measure_gives_shares() -> None:
    for limit in (0.0, 1 / 32, 0.25):
        for doubt in (0.0003, 10.0):
            for rates in (drilling_rates(limit, doubt), drilling_rates(limit, doubt, 0.9), rim_rates(limit, doubt)):
                shares = (rates.green_once, rates.green, rates.again, rates.missed)
                assert all(-1e-3 <= share <= 1 + 1e-3 for share in shares), (limit, doubt, shares)
