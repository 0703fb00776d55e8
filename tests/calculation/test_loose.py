import math
import random
from fractions import Fraction

import numpy as np
import pytest
from scipy.optimize import least_squares

from app.calculation.bores import Bore, surface_above_seat_in
from app.calculation.errors import CannotBuildError
from app.calculation.loose import CLOCKS_DEG, loose_inner
from app.measures.divisions import division_in


def heights(bore: Bore, od: float = 1.25) -> list[float]:
    return [surface_above_seat_in(bore, od / 2, math.radians(c)) for c in CLOCKS_DEG]


@pytest.mark.parametrize(("forward", "right"), [(0.0, 0.0), (-0.25, 0.0), (-0.375, 0.125), (0.125, -0.25)])
def test_exact_heights_give_the_bore_back(forward: float, right: float) -> None:
    got = loose_inner(heights(Bore(27.0, 1.5, 2.6875, forward, right)), 1.25, 27.0, 1.5, 0.002)
    assert (got.depth_in, got.forward_in, got.right_in) == pytest.approx((2.6875, forward, right), abs=1e-8)
    assert got.misfit_in < 1e-9


def test_noisy_heights_agree_with_a_least_squares_library() -> None:
    # outside source: scipy.optimize.least_squares on the same four heights
    pick = np.random.default_rng(4)
    read = np.array(heights(Bore(27.0, 1.5, 2.70, -0.2, 0.1))) + pick.normal(0, 0.002, 4)
    got = loose_inner(list(read), 1.25, 27.0, 1.5, 0.002)
    known = least_squares(
        lambda x: np.array(heights(Bore(27.0, 1.5, *x))) - read, [2.7, 0, 0], xtol=1e-14, ftol=1e-14, gtol=1e-14
    )
    assert (got.depth_in, got.forward_in, got.right_in) == pytest.approx(tuple(known.x), abs=1e-6)


@pytest.mark.parametrize(("forward", "right"), [(-0.375, 0.125), (0.125, -0.4), (-0.25, 0.0)])
def test_uncertainties_are_those_of_the_least_squares_jacobian(forward: float, right: float) -> None:
    # outside source: scipy's jacobian of √(R² − |m + q|²) − h_seat; covariance s² (JᵀJ)⁻¹ inverted by numpy
    def rim(x: np.ndarray) -> np.ndarray:
        radius, turns = 27 / (2 * np.pi), np.radians(CLOCKS_DEG)
        seat = np.sqrt(radius**2 - (0.75 - np.hypot(x[1], x[2])) ** 2) - x[0]
        found: np.ndarray = (
            np.sqrt(radius**2 - (x[1] + 0.625 * np.cos(turns)) ** 2 - (x[2] + 0.625 * np.sin(turns)) ** 2) - seat
        )
        return found

    true = np.array([2.7, forward, right])
    known = least_squares(lambda x: rim(x) - rim(true), true, jac="3-point")
    depth_u, forward_u, right_u = 0.003 * np.sqrt(np.diag(np.linalg.inv(known.jac.T @ known.jac)))
    got = loose_inner(list(rim(true)), 1.25, 27.0, 1.5, 0.003)
    assert (got.depth_in, got.forward_in, got.right_in) == pytest.approx(tuple(true), abs=1e-8)
    assert got.depth_u_in == pytest.approx(depth_u, rel=1e-3)
    assert got.depth_interval_in == pytest.approx((2.7 - 1.96 * depth_u, 2.7 + 1.96 * depth_u), abs=1e-5)
    assert got.pitch_u_in == pytest.approx(max(forward_u, right_u), rel=1e-3)
    assert abs(forward_u - right_u) > 3e-3 * got.pitch_u_in  # so that the larger is told from the smaller


def test_depth_and_pitch_are_recovered_within_their_stated_intervals() -> None:
    # simulation: 2,000 loose inners of known bores, heights read with a spread of 0.002 in, seeded
    pick = random.Random(12)
    depth_held = pitch_held = refused = 0
    for _ in range(2_000):
        bore = Bore(27.0, 1.5, pick.uniform(2.6, 2.8), pick.uniform(-0.4, 0.1), pick.uniform(-0.15, 0.15))
        got = loose_inner([h + pick.gauss(0, 0.002) for h in heights(bore)], 1.25, 27.0, 1.5, 0.002)
        depth_held += got.depth_interval_in[0] <= bore.depth_in <= got.depth_interval_in[1]
        refused += not got.is_one_clean_cut
        pitch_held += abs(got.forward_in - bore.forward_in) <= 1.96 * got.pitch_u_in
    assert 0.93 <= depth_held / 2_000 <= 0.97
    assert 0.93 <= pitch_held / 2_000 <= 0.98
    assert 0.004 <= refused / 2_000 <= 0.018  # chi-square of one degree of freedom beyond 2.576 squared: 1 in 100


def test_heights_beyond_their_doubt_are_no_clean_cut() -> None:
    clean = heights(Bore(27.0, 1.5, 2.7, -0.25, 0.0))
    bent = [h + e for h, e in zip(clean, (0.026, 0.0, 0.026, 0.0), strict=True)]
    got = loose_inner(bent, 1.25, 27.0, 1.5, 0.002)
    assert got.misfit_spreads == pytest.approx(13.0, rel=0.01)  # 0.013 in each way at four places, over 0.002
    assert not got.is_one_clean_cut
    assert loose_inner(bent, 1.25, 27.0, 1.5, 0.013).is_one_clean_cut


@pytest.mark.parametrize(
    ("texts", "division"),
    [
        (["2 11/16", "2 43/64", "2.68"], Fraction(1, 64)),
        (["2.684", "2.69", "2.7", "2.681"], Fraction(1, 1000)),
        (["68.2 mm", "68 mm"], Fraction(5, 1270)),
        (["6.82 cm", "6.8 cm"], Fraction(1, 254)),
        (["2.703125", "2.6875"], Fraction(1, 64)),
        (["2.70312", "2.6875"], Fraction(1, 64)),
        (["2684 thou"], Fraction(1, 1000)),
        (["2.7"], Fraction(1, 64)),
        ([], Fraction(0)),
    ],
)
def test_readings_carry_the_division_they_were_written_to(texts: list[str], division: Fraction) -> None:
    assert division_in(texts) == division


@pytest.mark.parametrize("read", [[2.7, 2.7, 2.7], [2.7, 2.7, 0.2, 2.7], []])
def test_heights_no_bore_can_have_are_refused(read: list[float]) -> None:
    with pytest.raises(CannotBuildError):
        loose_inner(read, 1.25, 27.0, 1.5, 0.002)


@pytest.mark.parametrize(("forward", "right", "is_read"), [(1.5, 0.0, True), (2.01, 0.0, False), (0.0, -1.5, True), (0.0, -2.01, False), (1.45, 1.45, False)])  # fmt: skip
def test_a_pitch_of_more_than_2_in_is_no_bores(forward: float, right: float, is_read: bool) -> None:
    read = heights(Bore(27.0, 1.5, 2.7, forward, right))
    if is_read:
        got = loose_inner(read, 1.25, 27.0, 1.5, 0.002)
        assert (got.forward_in, got.right_in) == pytest.approx((forward, right), abs=1e-6)
    else:
        with pytest.raises(CannotBuildError):
            loose_inner(read, 1.25, 27.0, 1.5, 0.002)


def test_the_worst_misfit_is_that_of_one_height() -> None:
    # outside source: scipy.optimize.least_squares; what one height is off is shared by all four, + − + −
    read = np.array(heights(Bore(27.0, 1.5, 2.7, -0.25, 0.125))) + np.array([0.004, 0.0, 0.001, 0.0])
    got = loose_inner(list(read), 1.25, 27.0, 1.5, 0.002)
    rest = least_squares(
        lambda x: np.array(heights(Bore(27.0, 1.5, *x))) - read, [2.7, 0, 0], xtol=1e-14, ftol=1e-14
    ).fun
    assert got.misfit_in == pytest.approx(np.abs(rest).max(), abs=1e-7)
    assert got.misfit_spreads == pytest.approx(np.linalg.norm(rest) / 0.002, rel=1e-4)
