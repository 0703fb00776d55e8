"""Layouts against the contract's worked numbers, published triangles and pyproj's geodesics on a sphere."""

import math
from dataclasses import replace

import pytest

from app.calculation.errors import CannotBuildError
from app.calculation.grip import Hand
from app.calculation.layouts import AxisPoint, Layout, find_axis, read_layout, solve_layout
from app.calculation.sphere import Vector, arc_angle, combine
from tests.calculation.layouts import HANDS, LAYOUT, POINT, Globe, laid_out, random_layouts

NUMBERS = ("pin_axis_in", "axis_line_deg", "drilling_deg", "pin_mark_in")
# worked with rotations of vectors when the contract of the calculation was written
WORKED_PLACES = {"axis": (0.986817, 4.450173), "pin": (3.577689, 0.942422), "mark": (-3.685229, 2.108438)}
WORKED_ARCS = {
    "pin_axis_line_in": 2.054415,
    "mark_axis_in": 3.906537,
    "grip_axis_in": 4.516757,
    "grip_pin_in": 3.670435,
    "grip_mark_in": 4.106627,
}


@pytest.mark.parametrize("hand", HANDS)
def test_the_contracts_layout_has_its_places_and_arcs(hand: Hand) -> None:
    laid, side = laid_out(hand), 1 if hand == "right" else -1
    for name, (along_in, across_in) in WORKED_PLACES.items():
        assert laid.places[name] == pytest.approx((along_in, side * across_in), abs=6e-7)
    assert laid.arcs == pytest.approx(WORKED_ARCS, abs=6e-7)
    assert laid.foot == pytest.approx((side * math.sin(math.pi / 3), 0.0, 0.5), abs=1e-12)  # 4.5 of 27 in: 60°


@pytest.mark.parametrize("way", [1, -1])
def test_a_pin_square_off_the_axis_line_is_a_quarter_of_the_ball_from_it(way: int) -> None:
    """By the definition of a great circle's pole; rounding takes the sine of one in five beyond 1."""
    for circumference_in, hand, point, layout in random_layouts(seed=3, count=200):
        square = replace(layout, pin_axis_in=circumference_in / 4, axis_line_deg=way * 90.0)
        laid = solve_layout(circumference_in, hand, point, square)
        assert laid.arcs["pin_axis_line_in"] == pytest.approx(way * circumference_in / 4, abs=1e-5)


def test_ten_thousand_layouts_are_read_back_from_their_marks() -> None:
    for circumference_in, hand, point, layout in random_layouts(seed=1, count=10_000):
        laid = solve_layout(circumference_in, hand, point, layout)
        read = read_layout(circumference_in, hand, point, laid.pin, laid.mark)
        found = [getattr(read, name) - getattr(layout, name) for name in NUMBERS[:3]]
        found.append(read.pin_mark_in - laid.pin_mark_in if read.pin_mark_in else math.inf)
        assert max(map(abs, found)) < 1e-9, (hand, point, layout, read)


def test_places_and_both_angles_are_those_of_geodesics() -> None:
    for circumference_in, hand, point, layout in random_layouts(seed=2, count=300):
        globe = Globe(circumference_in)
        laid = solve_layout(circumference_in, hand, point, layout)
        axis, pin, mark = globe.lay(hand, point, layout)
        for at, expected in ((laid.axis, axis), (laid.pin, pin), (laid.mark, mark)):
            assert at == pytest.approx(globe.vector(expected), abs=1e-9)
        side = 1 if hand == "right" else -1
        swung = -side * globe.azimuth(axis, pin), side * (globe.azimuth(pin, mark) - globe.azimuth(pin, axis))
        for told, asked in zip(swung, (layout.axis_line_deg, layout.drilling_deg), strict=True):
            assert math.remainder(told - asked, 360) == pytest.approx(0.0, abs=1e-7)
        arcs = {
            "mark_axis_in": globe.arc_in(mark, axis),
            "grip_axis_in": globe.arc_in((0, 0), axis),
            "grip_pin_in": globe.arc_in((0, 0), pin),
            "grip_mark_in": globe.arc_in((0, 0), mark),
        }
        assert {name: laid.arcs[name] for name in arcs} == pytest.approx(arcs, abs=1e-8)


@pytest.mark.parametrize("hand", HANDS)
def test_the_arc_from_pin_to_axis_line_is_the_least_of_all_arcs_to_it(hand: Hand) -> None:
    globe, laid = Globe(), laid_out(hand)
    axis, pin = globe.find(laid.axis), globe.find(laid.pin)
    arcs = [globe.arc_in(pin, (axis[0], lat / 100)) for lat in range(-9000, 9001)]
    assert laid.arcs["pin_axis_line_in"] == pytest.approx(min(arcs), abs=1e-6)
    beyond = laid_out(hand, layout=replace(LAYOUT, axis_line_deg=-35.0))
    assert beyond.arcs["pin_axis_line_in"] == pytest.approx(-min(arcs), abs=1e-6)


def test_a_published_triangle_on_a_ball_of_27_inches_has_its_angle_and_sides() -> None:
    # a worked example of a public forum for drillers: two angles of 45° at the ends of a quarter of the ball round
    # meet at 120°, 54.7356° or 4.105 in from either end. The grip centre is one end, the axis point the other.
    laid = laid_out(point=AxisPoint(6.75, 0.0), layout=Layout(4.105, 45.0, 120.0))
    assert laid.arcs["grip_axis_in"] == pytest.approx(6.75, abs=1e-12)
    assert laid.arcs["grip_pin_in"] == pytest.approx(4.105, abs=5e-4)
    grip_centre: Vector = (0.0, 0.0, 1.0)
    assert abs(read_layout(27.0, "right", AxisPoint(6.75, 0.0), laid.pin, grip_centre).drilling_deg) == pytest.approx(
        120.0, abs=0.01
    )


def test_two_ways_to_print_one_layout_come_close() -> None:
    # soft: a driller's page prints 40° × 4 × 35° and "pin 4 in, mark 4 in, 2 in off the axis line" as alike
    arcs = laid_out().arcs
    assert (arcs["mark_axis_in"], arcs["pin_axis_line_in"]) == pytest.approx((4.0, 2.0), abs=0.1)


@pytest.mark.parametrize(
    ("pin_axis_in", "axis_line_deg", "off_in"),
    [(4.5, 45, 2.832), (5, 40, 2.713), (4, 30, 1.773), (3.375, 45, 2.25), (5, 70, 4.473)],
)
def test_the_pins_arc_to_the_axis_line_is_that_of_a_right_triangle(
    pin_axis_in: float, axis_line_deg: float, off_in: float
) -> None:
    # closed form sin b = sin p · sin V, worked by hand
    laid = laid_out(layout=Layout(pin_axis_in, axis_line_deg, 50.0))
    assert laid.arcs["pin_axis_line_in"] == pytest.approx(off_in, abs=5e-4)


@pytest.mark.parametrize(
    ("pin_axis_in", "drilling_deg", "away_in"), [(4.5, 60, 4.826), (5, 40, 3.398), (4, 40, 3.907), (5, 50, 4.037)]
)
def test_the_marks_arc_to_the_axis_point_is_that_of_a_quarter_triangle(
    pin_axis_in: float, drilling_deg: float, away_in: float
) -> None:
    # closed form cos q = sin p · cos D, worked by hand
    laid = laid_out(layout=Layout(pin_axis_in, 35.0, drilling_deg))
    assert laid.arcs["mark_axis_in"] == pytest.approx(away_in, abs=5e-4)


def test_a_published_axis_point_is_less_far_from_the_grip_centre_than_on_the_flat() -> None:
    # 4-1/2 over and 1-1/4 up, as a word list of the trade prints it; cos g = cos over · cos up by hand
    laid = laid_out(point=AxisPoint(4.5, 1.25))
    assert laid.arcs["grip_axis_in"] == pytest.approx(4.6035, abs=5e-5)


@pytest.mark.parametrize(
    ("point", "layout", "field"),
    [
        (replace(POINT, over_in=13.5), LAYOUT, "over_in"),
        (replace(POINT, over_in=-13.5), LAYOUT, "over_in"),
        (replace(POINT, over_in=math.nan), LAYOUT, "over_in"),
        (replace(POINT, up_in=6.75), LAYOUT, "up_in"),
        (replace(POINT, up_in=-6.75), LAYOUT, "up_in"),
        (POINT, replace(LAYOUT, pin_axis_in=0.0), "pin_axis_in"),
        (POINT, replace(LAYOUT, pin_axis_in=-4.0), "pin_axis_in"),
        (POINT, replace(LAYOUT, pin_axis_in=13.5), "pin_axis_in"),
        (POINT, replace(LAYOUT, pin_axis_in=math.nan), "pin_axis_in"),
        (POINT, replace(LAYOUT, pin_mark_in=0.0), "pin_mark_in"),
        (POINT, replace(LAYOUT, pin_mark_in=13.5), "pin_mark_in"),
        (POINT, replace(LAYOUT, axis_line_deg=180.5), "axis_line_deg"),
        (POINT, replace(LAYOUT, axis_line_deg=math.inf), "axis_line_deg"),
        (POINT, replace(LAYOUT, drilling_deg=-180.5), "drilling_deg"),
    ],
)
def test_what_puts_things_nowhere_is_refused_at_its_field(point: AxisPoint, layout: Layout, field: str) -> None:
    with pytest.raises(CannotBuildError) as refused:
        laid_out(point=point, layout=layout)
    assert refused.value.field == field


@pytest.mark.parametrize("way", [1.0, -1.0])
def test_marks_in_line_with_nothing_are_refused(way: float) -> None:
    laid = laid_out()
    on_axis, on_pin = combine(way, laid.axis, 0.0, laid.axis), combine(way, laid.pin, 0.0, laid.pin)
    for pin, mark, field in ((on_axis, laid.mark, "pin"), (laid.pin, on_pin, "mark")):
        with pytest.raises(CannotBuildError) as refused:
            read_layout(27.0, "right", POINT, pin, mark)
        assert refused.value.field == field


def test_a_mark_on_the_axis_point_has_no_drilling_angle() -> None:
    laid = laid_out()
    read = read_layout(27.0, "right", POINT, laid.pin, laid.axis)
    assert (read.drilling_deg, read.pin_mark_in) == pytest.approx((0.0, 4.0), abs=1e-9)


def test_an_axis_point_beyond_the_centre_line_lies_on_the_other_side() -> None:
    point = AxisPoint(-4.5, 0.5)
    assert find_axis(27.0, "right", point) == pytest.approx(find_axis(27.0, "left", POINT), abs=1e-15)
    assert [p.is_on_own_side for p in (POINT, point, AxisPoint(0.0, 0.5))] == [True, False, False]
    assert arc_angle(laid_out(point=point).pin, laid_out("left").pin) > 0.1  # its angles still turn as its hand's do


@pytest.mark.parametrize("hand", HANDS)
def test_the_axis_line_crosses_the_midline_on_the_axis_points_side(hand: Hand) -> None:
    # by hand: on the midline, as far over as the axis point; an over of less than 0 lies on the other side
    side = 1 if hand == "right" else -1
    for over_in in (4.5, -4.5):
        laid = solve_layout(27.0, hand, AxisPoint(over_in, 0.5), Layout(4.0, 35.0, 40.0))
        turn = side * over_in / (13.5 / math.pi)
        assert laid.foot == pytest.approx((math.sin(turn), 0.0, math.cos(turn)), abs=1e-12)
