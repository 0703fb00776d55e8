"""A ball's marks against scipy's least squares and minimiser, pyproj's geodesics and scipy's chi squared."""

import math

import numpy as np
import pytest
from scipy.optimize import least_squares
from scipy.stats import chi2

from app.calculation.ball_marks import ARCS, Arc, MeasuredArc, find_limit, fit_marks, place_heavy_spot
from app.calculation.errors import CannotBuildError
from tests.calculation.layouts import HANDS, Globe, laid_out
from tests.conftest import not_none

DOUBT_IN = 1 / 32


def read(pin_mark: float, pin_heavy: float, mark_heavy: float) -> list[MeasuredArc]:
    return [MeasuredArc(name, length) for name, length in zip(ARCS, (pin_mark, pin_heavy, mark_heavy), strict=True)]


def fit_by_scipy(readings: list[MeasuredArc]) -> dict[Arc, float]:
    """The three marks moved freely on pyproj's sphere until the squared misfits of all readings are least."""
    globe = Globe()

    def arcs(x: np.ndarray) -> dict[Arc, float]:
        pin, mark, heavy = (0.0, 0.0), globe.walk((0.0, 0.0), 0.0, x[0]), globe.walk((0.0, 0.0), x[2], x[1])
        far_in = globe.arc_in(mark, heavy)
        return {
            "pin_mark_in": globe.arc_in(pin, mark),
            "pin_heavy_in": globe.arc_in(pin, heavy),
            "mark_heavy_in": far_in,
        }

    def off(x: np.ndarray) -> list[float]:
        found = arcs(x)
        return [r.length_in - found[r.arc] for r in readings]

    starts = [[4.0, 3.0, turn] for turn in (1.0, 60.0, 120.0, 179.0)]
    found = min(
        (least_squares(off, start, xtol=1e-15, ftol=1e-15, gtol=1e-15) for start in starts), key=lambda f: f.cost
    )
    return arcs(found.x)


@pytest.mark.parametrize(
    "lengths",
    [(6.75, 3.0, 4.5), (6.75, 3.0, 3.7), (6.75, 2.0, 8.8), (6.5, 9.28, 2.75), (10.0, 9.05, 8.0), (3.0, 3.0, 1.0)],
)
@pytest.mark.parametrize("repeats", [1, 3])
def test_the_fitted_arcs_are_those_of_least_squares(lengths: tuple[float, float, float], repeats: int) -> None:
    readings = read(*lengths) + [MeasuredArc("mark_heavy_in", lengths[2] + 0.01 * i) for i in range(1, repeats)]
    marks = fit_marks(27.0, readings, DOUBT_IN)
    expected = fit_by_scipy(readings)
    assert marks.arcs == pytest.approx(expected, abs=2e-5)
    off = [r.length_in - expected[r.arc] for r in readings]
    assert marks.residuals == pytest.approx(off, abs=2e-5)
    assert marks.misfit_in == pytest.approx(math.sqrt(sum(o * o for o in off) / len(off)), abs=2e-5)


@pytest.mark.parametrize("is_clockwise", [True, False])
def test_the_heavy_spot_lies_where_geodesics_put_it(is_clockwise: bool) -> None:
    globe, side = Globe(), 1 if is_clockwise else -1
    for hand in HANDS:
        laid = laid_out(hand)
        pin, mark = globe.find(laid.pin), globe.find(laid.mark)
        heavy = globe.walk(pin, globe.azimuth(pin, mark) + side * 25.0, 3.0)
        readings = read(globe.arc_in(pin, mark), 3.0, globe.arc_in(mark, heavy))
        marks = fit_marks(27.0, readings, DOUBT_IN, is_clockwise)
        assert not_none(marks.turn_deg) == pytest.approx(side * 25.0, abs=1e-7)
        assert place_heavy_spot(marks, laid) == pytest.approx(globe.vector(heavy), abs=1e-9)
        assert marks.misfit_in == pytest.approx(0.0, abs=1e-12)


def test_without_a_mass_mark_the_heavy_spot_lies_on_the_line_to_the_layouts_mark() -> None:
    globe, laid = Globe(), laid_out()
    marks = fit_marks(27.0, [MeasuredArc("pin_heavy_in", length) for length in (3.0, 3.02)], DOUBT_IN)
    assert marks.arcs == pytest.approx({"pin_heavy_in": 3.01})
    assert marks.turn_deg is None
    assert marks.heavy_spot_u_in == pytest.approx(DOUBT_IN / math.sqrt(2))  # of a mean of two
    pin = globe.find(laid.pin)
    expected = globe.walk(pin, globe.azimuth(pin, globe.find(laid.mark)), 3.01)
    assert place_heavy_spot(marks, laid) == pytest.approx(globe.vector(expected), abs=1e-9)


def test_the_doubt_of_the_heavy_spot_is_the_scatter_of_simulated_readings() -> None:
    globe, chance, lengths = Globe(), np.random.default_rng(7), (6.75, 3.0, 4.5)
    told = fit_marks(27.0, read(*lengths), DOUBT_IN)
    centre = globe.walk((0.0, 0.0), not_none(told.turn_deg), 3.0)
    moved = []
    for errors in chance.normal(0.0, DOUBT_IN, (2000, 3)):
        marks = fit_marks(27.0, read(*(np.array(lengths) + errors).tolist()), DOUBT_IN)
        at = globe.walk((0.0, 0.0), not_none(marks.turn_deg), marks.arcs["pin_heavy_in"])
        moved.append(globe.arc_in(centre, at))
    assert not_none(told.heavy_spot_u_in) == pytest.approx(float(np.sqrt(np.mean(np.square(moved)))), rel=0.05)
    several = fit_marks(27.0, read(*lengths) * 4, DOUBT_IN)
    assert several.heavy_spot_u_in == pytest.approx(not_none(told.heavy_spot_u_in) / 2, rel=0.01)  # of means of four


def test_marks_that_contradict_each_other_are_refused_beyond_their_doubt() -> None:
    # by hand: arcs that miss closing by v leave v / 3 each, v² / 3 in all, which chi squared holds against 6.6 doubts²
    least = DOUBT_IN * math.sqrt(3 * find_limit(1))
    for excess, is_refused in ((least - 1e-6, False), (least + 1e-6, True)):
        readings = read(3.0, 2.0, 5.0 + excess)
        if not is_refused:
            marks = fit_marks(27.0, readings, DOUBT_IN)
            assert marks.misfit_in == pytest.approx(excess / 3)
            assert not_none(marks.turn_deg) == pytest.approx(180.0, abs=1e-4)
            continue
        with pytest.raises(CannotBuildError) as refused:
            fit_marks(27.0, readings, DOUBT_IN)
        assert refused.value.field in ARCS


def test_readings_of_one_arc_that_differ_are_refused_at_that_arc() -> None:
    readings = [*read(6.75, 3.0, 4.5), MeasuredArc("pin_heavy_in", 3.25)]
    with pytest.raises(CannotBuildError) as refused:
        fit_marks(27.0, readings, DOUBT_IN)
    assert refused.value.field == "pin_heavy_in"
    assert fit_marks(27.0, readings, 0.125).arcs["pin_heavy_in"] == pytest.approx(3.125)


def test_honest_readings_are_refused_once_in_a_hundred() -> None:
    chance, refused = np.random.default_rng(11), 0
    for errors in chance.normal(0.0, DOUBT_IN, (3000, 4)).tolist():
        lengths = (6.75, 3.0, 4.5, 4.5)
        names: tuple[Arc, ...] = (*ARCS, "mark_heavy_in")
        readings = [MeasuredArc(n, x + e) for n, x, e in zip(names, lengths, errors, strict=True)]
        try:
            fit_marks(27.0, readings, DOUBT_IN)
        except CannotBuildError:
            refused += 1
    assert 0.005 < refused / 3000 < 0.017


@pytest.mark.parametrize("freedom", [1, 2, 3, 5, 10, 30])
def test_the_limit_is_that_of_chi_squared(freedom: int) -> None:
    assert find_limit(freedom) == pytest.approx(chi2.ppf(0.99, freedom), rel=0.01)


@pytest.mark.parametrize(
    ("readings", "doubt_in", "field"),
    [
        ([], DOUBT_IN, "pin_mark_in"),
        (read(6.75, 3.0, 4.5)[:2], DOUBT_IN, "mark_heavy_in"),
        (read(6.75, 3.0, 4.5)[1:], DOUBT_IN, "pin_mark_in"),
        (read(6.75, 3.0, 4.5)[2:], DOUBT_IN, "pin_heavy_in"),
        (read(0.0, 3.0, 3.0), DOUBT_IN, "pin_mark_in"),
        (read(6.75, 13.6, 6.75), DOUBT_IN, "pin_heavy_in"),
        (read(6.75, 3.0, math.nan), DOUBT_IN, "mark_heavy_in"),
        (read(6.75, 3.0, 4.5), 0.0, "reading_u_in"),
    ],
)
def test_readings_that_place_nothing_are_refused_at_their_field(
    readings: list[MeasuredArc], doubt_in: float, field: str
) -> None:
    with pytest.raises(CannotBuildError) as refused:
        fit_marks(27.0, readings, doubt_in)
    assert refused.value.field == field


def test_a_heavy_spot_that_was_not_measured_has_no_place() -> None:
    marks = fit_marks(27.0, [MeasuredArc("pin_mark_in", 6.7)], DOUBT_IN)
    assert (dict(marks.arcs), marks.turn_deg, marks.heavy_spot_u_in) == ({"pin_mark_in": 6.7}, None, None)
    with pytest.raises(CannotBuildError) as refused:
        place_heavy_spot(marks, laid_out())
    assert refused.value.field == "pin_heavy_in"


def test_of_readings_of_one_arc_the_one_farthest_off_either_way_is_told() -> None:
    # by hand: 3.9, 3.9 and 3.6 in have the mean 3.8, and are 0.1, 0.1 and 0.2 in off it
    readings = [MeasuredArc("pin_heavy_in", length) for length in (3.9, 3.9, 3.6)]
    with pytest.raises(CannotBuildError, match=r"0\.200 in"):
        fit_marks(27.0, readings, 1 / 32)
