import random

import pytest

from app.calculation.charts import ewma_chart, individuals_chart
from app.calculation.errors import CannotBuildError
from app.calculation.gauges import gauge_study
from tests.calculation.test_sphere import CASES


def test_the_individuals_chart_of_the_handbook():
    case = CASES["individuals chart"]  # source: see the file
    chart, expected = individuals_chart(case["data"]), case["expected"]
    assert chart.mean == pytest.approx(expected["mean"], abs=5e-3)
    assert chart.mean_moving_range == pytest.approx(expected["mean_moving_range"], abs=5e-5)
    assert chart.upper_limit == pytest.approx(expected["upper_limit"], abs=5e-4)
    assert chart.lower_limit == pytest.approx(expected["lower_limit"], abs=5e-4)


def test_the_ewma_chart_of_the_handbook():
    case = CASES["EWMA chart"]  # source: see the file
    chart = ewma_chart(case["data"], case["target"], case["s"], case["lambda"], case["L"])
    assert chart.averages == pytest.approx(case["expected"]["ewma"], abs=0.0051)
    assert chart.upper_limits[-1] == pytest.approx(case["expected"]["upper_limit"], abs=2e-3)
    assert chart.lower_limits[-1] == pytest.approx(case["expected"]["lower_limit"], abs=2e-3)
    assert chart.first_signal is None


def test_the_gauge_study_of_the_manual():
    case = CASES["gauge study, ANOVA without interaction"]  # source: see the file
    got, expected = gauge_study(list(case["data"].values())), case["expected"]
    assert got.repeatability == pytest.approx(expected["repeatability"], abs=5e-7)
    assert got.reproducibility == pytest.approx(expected["reproducibility"], abs=5e-7)
    assert got.gauge == pytest.approx(expected["gauge"], abs=2e-6)  # printed from rounded parts
    assert got.part == pytest.approx(expected["part"], abs=5e-7)


@pytest.mark.parametrize(
    "readings",
    [[], [[[1.0, 2.0], [1.0, 2.0]]], [[[1.0, 2.0]], [[1.0, 2.0]]], [[[1.0, 2.0], [1.0]], [[1.0, 2.0], [1.0, 2.0]]]],
)
def test_a_study_with_holes_is_refused(readings):
    with pytest.raises(CannotBuildError):
        gauge_study(readings)


def run_length(pick: random.Random, shift: float) -> int:
    """Readings until the chart signals, in units of one standard deviation, at lambda 0.2 and L 2.7."""
    average, i = 0.0, 0
    while True:
        i += 1
        average = 0.2 * (pick.gauss(0, 1) + shift) + 0.8 * average
        if ewma_chart_signals(average, i):
            return i


def ewma_chart_signals(average: float, i: int) -> bool:
    return abs(average) > 2.7 * (0.2 / 1.8 * (1 - 0.8 ** (2 * i))) ** 0.5


def test_a_slip_of_a_64th_is_signalled_within_the_run_length_that_theory_predicts():
    # J. M. Lucas and M. S. Saccucci, Technometrics 32 (1990) 1: ARL of about 9 to 10 at a shift of one sigma for
    # lambda 0.2, L 2.7 or so (value from memory); a collar of spread 1/64 slipping by 1/64 is a one-sigma shift
    pick = random.Random(64)
    lengths = []
    for _ in range(400):
        values = [pick.gauss(0, 1 / 64) + 1 / 64 for _ in range(200)]
        lengths.append(ewma_chart(values, 0.0, 1 / 64).first_signal + 1)
    mean = sum(lengths) / len(lengths)
    expected = sum(run_length(pick, 1.0) for _ in range(2_000)) / 2_000
    assert mean == pytest.approx(expected, rel=0.15)
    assert 7 <= mean <= 11


def test_a_steady_collar_is_left_alone_for_hundreds_of_balls():
    pick = random.Random(3)
    quiet = [ewma_chart([pick.gauss(0, 1) for _ in range(100)], 0.0, 1.0).first_signal is None for _ in range(300)]
    assert sum(quiet) / len(quiet) > 0.6
