"""Where the heavy spot comes to lie, against the worked layout of the calculation contract (geometry, 6.1)."""

import math
from fractions import Fraction

import pytest
from pyproj import Geod

from app.calculation.marking_lists import find_spot_doubt_in
from app.calculation.units import radius_in
from app.models import AxisPoint, BallMarks, Layout
from app.services.heavy_spots import HeavySpot, Missing, find_spot, lay_out, place_axis

pytestmark = pytest.mark.once
PLACE_IN = 1e-6


def chosen(hand: str = "right", drilling_deg: int = 40) -> Layout:
    point = AxisPoint(hand=hand, over_in=Fraction(9, 2), up_in=Fraction(1, 2))
    return Layout(
        axis_point=point, hand=hand, pin_axis_in=Fraction(4), axis_line_deg=Fraction(35), drilling_deg=Fraction(drilling_deg)
    )  # fmt: skip


def spot(found: HeavySpot | Missing) -> HeavySpot:
    assert isinstance(found, HeavySpot)
    return found


def apart_in(a: tuple[float, float], b: tuple[float, float]) -> float:
    """The arc between two places, by an independent geodesic library on a sphere of the ball's size."""
    radius = radius_in(27.0)
    # the frame's along is a longitude, its across a latitude
    lon_a, lat_a, lon_b, lat_b = (math.degrees(arc / radius) for arc in (*a, *b))
    return float(Geod(a=radius, b=radius).inv(lon_a, lat_a, lon_b, lat_b)[2])


@pytest.mark.parametrize(("hand", "side"), [("right", 1), ("left", -1)])
def test_without_a_mass_mark_it_lies_where_the_contract_has_its_second_mark(hand: str, side: int) -> None:
    # source: geometry, 6.1: the mark a quarter circumference from the pin
    marks = BallMarks(has_mass_mark=False, pin_centre_in=Fraction(27, 4), doubt_in=Fraction(1, 32))
    found = spot(find_spot(27.0, chosen(hand), marks))
    assert (found.along_in, found.across_in) == pytest.approx((-3.685229, side * 2.108438), abs=PLACE_IN)
    # the one doubt of marking that the layout's marking list tells, beside that of the arc
    laid = lay_out(27.0, chosen(hand), 6.75)
    marking_in = find_spot_doubt_in(laid, laid.mark)
    assert found.u_in == pytest.approx(math.hypot(1 / 32, marking_in))
    assert not found.is_side_assumed


def test_three_arcs_place_it_from_pin_and_mass_mark() -> None:
    # source: pyproj on a sphere; the arcs are those of a place made up here
    laid = lay_out(27.0, chosen(), 6.75)
    there = (0.5, 0.25)
    pin, mark = laid.places["pin"], laid.places["mark"]
    marks = BallMarks(
        pin_mark_in=Fraction(27, 4), pin_centre_in=Fraction(apart_in(pin, there)), mark_centre_in=Fraction(apart_in(mark, there))
    )  # fmt: skip
    found = spot(find_spot(27.0, chosen(), marks))
    assert apart_in(pin, (found.along_in, found.across_in)) == pytest.approx(float(marks.pin_centre_in or 0), abs=1e-9)
    assert apart_in(mark, (found.along_in, found.across_in)) == pytest.approx(
        float(marks.mark_centre_in or 0), abs=1e-9
    )
    assert found.u_in > 1 / 16 / math.sqrt(2)  # of one arc at least


def test_a_mass_mark_without_an_arc_of_its_own_lies_a_quarter_off_as_in_the_layout() -> None:
    arcs = {"pin_centre_in": Fraction(5, 2), "mark_centre_in": Fraction(11, 2), "centre_side": "left"}
    assumed = spot(find_spot(27.0, chosen(), BallMarks(**arcs)))
    measured = spot(find_spot(27.0, chosen(), BallMarks(pin_mark_in=Fraction(27, 4), **arcs)))
    assert (assumed.along_in, assumed.across_in, assumed.u_in) == (measured.along_in, measured.across_in, measured.u_in)
    assert len(assumed.assumed) == len(measured.assumed) + 1


def test_what_nobody_measured_is_listed() -> None:
    arcs = {"has_mass_mark": False, "pin_centre_in": Fraction(5, 2)}
    without, own = (spot(find_spot(27.0, chosen(), BallMarks(doubt_in=d, **arcs))) for d in (None, Fraction(1, 16)))
    assert (without.u_in, len(without.assumed)) == (own.u_in, len(own.assumed) + 1)


def test_a_spot_off_the_line_may_lie_on_either_side_and_is_as_doubtful() -> None:
    near = BallMarks(pin_mark_in=Fraction(27, 4), pin_centre_in=Fraction(5, 2), mark_centre_in=Fraction(17, 4))
    off = BallMarks(pin_mark_in=Fraction(27, 4), pin_centre_in=Fraction(5, 2), mark_centre_in=Fraction(11, 2))
    on_line, beside = spot(find_spot(27.0, chosen(), near)), spot(find_spot(27.0, chosen(), off))
    assert beside.is_side_assumed
    assert beside.u_in > 1.0 > on_line.u_in


@pytest.mark.parametrize(("side", "hand"), [("left", "right"), ("right", "right"), ("left", "left"), ("right", "left")])
def test_on_the_side_that_somebody_saw_it_is_placed_without_a_doubt_of_the_side(side: str, hand: str) -> None:
    # source: pyproj on a sphere; in this layout the pin lies above the mass mark, so a side of the page is one of the line
    laid = lay_out(27.0, chosen(hand), 6.75)
    pin, mark = laid.places["pin"], laid.places["mark"]
    middle = (pin[1] + mark[1]) / 2
    there = (0.5, middle - 1.25 if side == "left" else middle + 1.25)
    marks = BallMarks(
        pin_mark_in=Fraction(27, 4), pin_centre_in=Fraction(apart_in(pin, there)), mark_centre_in=Fraction(apart_in(mark, there)),
        centre_side=side,
    )  # fmt: skip
    found = spot(find_spot(27.0, chosen(hand), marks))
    assert (found.along_in, found.across_in) == pytest.approx(there, abs=1e-9)
    assert not found.is_side_assumed
    assert found.u_in < 1 / 2


@pytest.mark.parametrize(
    ("layout", "marks", "page"),
    [
        (None, BallMarks(has_mass_mark=False, pin_centre_in=Fraction(2)), "layout"),
        (chosen(), None, "marks"),
        (chosen(), BallMarks(has_mass_mark=False), "marks"),
        (chosen(), BallMarks(pin_mark_in=Fraction(6), pin_centre_in=Fraction(2)), "marks"),
        (chosen(), BallMarks(pin_mark_in=Fraction(6), pin_centre_in=Fraction(2), mark_centre_in=Fraction(9)), "marks"),
    ],
)
def test_what_is_missing_is_told_with_the_page_that_has_it(
    layout: Layout | None, marks: BallMarks | None, page: str
) -> None:
    found = find_spot(27.0, layout, marks)
    assert isinstance(found, Missing)
    assert found.page == page


def test_an_axis_point_has_its_place() -> None:
    # source: geometry, 6.1
    x, y, z = place_axis(27.0, chosen("left").axis_point)
    radius = radius_in(27.0)
    assert (radius * math.atan2(y, z), radius * math.asin(x)) == pytest.approx((0.986817, -4.450173), abs=PLACE_IN)
