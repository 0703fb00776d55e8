"""Exact intervals against scipy: `binomtest(...).proportion_ci(method="exact")`, `binom.ppf`, and a published table."""

import pytest
from scipy.stats import binom, binomtest

from app.calculation.exact_intervals import binomial_interval, median_ranks


@pytest.mark.parametrize("n", [*range(1, 61)])
def test_every_share_up_to_60_is_scipys(n: int) -> None:
    for successes in range(n + 1):
        known = binomtest(successes, n).proportion_ci(confidence_level=0.95, method="exact")
        assert binomial_interval(successes, n) == pytest.approx((known.low, known.high), abs=1e-9)


@pytest.mark.parametrize("coverage", [0.8, 0.95, 0.99])
@pytest.mark.parametrize(("successes", "n"), [(0, 5000), (1, 5000), (7, 400), (2500, 5000), (4999, 5000), (350, 365)])
def test_large_counts_and_other_coverages_are_scipys(successes: int, n: int, coverage: float) -> None:
    known = binomtest(successes, n).proportion_ci(confidence_level=coverage, method="exact")
    assert binomial_interval(successes, n, coverage) == pytest.approx((known.low, known.high), abs=1e-9)


def test_no_failure_in_n_has_the_known_closed_form() -> None:
    """Of n without a success the upper limit is 1 - tail^(1/n), as the equation of Clopper and Pearson says at k = 0."""
    for n in (1, 20, 59, 300):
        assert binomial_interval(0, n) == pytest.approx((0, 1 - 0.025 ** (1 / n)), abs=1e-12)
        assert binomial_interval(n, n) == pytest.approx((0.025 ** (1 / n), 1), abs=1e-12)


@pytest.mark.parametrize(("successes", "n"), [(0, 0), (3, 2), (-1, 5)])
def test_an_impossible_count_is_refused(successes: int, n: int) -> None:
    with pytest.raises(ValueError, match="Successes"):
        binomial_interval(successes, n)


@pytest.mark.parametrize("coverage", [0.8, 0.95, 0.99])
def test_ranks_of_the_median_are_scipys(coverage: float) -> None:
    """The greatest rank whose tail, that fewer values lie below the median, is at most (1 - coverage) / 2."""
    for n in range(1, 400):
        tail = (1 - coverage) / 2
        rank = int(binom.ppf(tail, n, 0.5))
        rank += bool(binom.cdf(rank, n, 0.5) <= tail)
        expected = (rank, n + 1 - rank) if rank else None
        assert median_ranks(n, coverage) == expected


def test_the_table_of_order_statistics() -> None:
    """Ranks at 95 %: from memory of the tables of the sign test (n = 5 none, 6, 10, 20), worked out by scipy too."""
    assert [median_ranks(n) for n in (5, 6, 10, 20)] == [None, (1, 6), (2, 9), (6, 15)]
