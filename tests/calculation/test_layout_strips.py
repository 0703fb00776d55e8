"""Strips of a layout, every tick walked to along pyproj's geodesics."""

import math
from dataclasses import replace

import pytest

from app.calculation.grip import Hand
from app.calculation.layout_strips import _lay_strip, lay_layout_strips
from app.calculation.layouts import AxisPoint, LaidOut, Layout, solve_layout
from app.calculation.sphere import Vector
from app.calculation.strips import Strip, break_strip
from tests.calculation.layouts import HANDS, LAYOUT, POINT, Globe, LonLat, laid_out, random_layouts

GRIP_CENTRE: Vector = (0.0, 0.0, 1.0)


def spots(laid: LaidOut) -> dict[str, LonLat]:
    """Where each name of a tick lies; of the lines those places where they are the end of a strip."""
    globe = Globe(laid.circumference_in)
    axis = globe.find(laid.axis)
    foot = (axis[0], 0.0)
    return {
        "grip centre": (0.0, 0.0), "axis point": axis, "pin": globe.find(laid.pin), "mass mark": globe.find(laid.mark),
        "midline": foot, "axis line": foot,
    }  # fmt: skip


def check_ticks(laid: LaidOut, strip: Strip) -> None:
    """Each tick is where a walk of its length comes to: at its spot, on its line, or at a whole inch."""
    globe, at = Globe(laid.circumference_in), spots(laid)
    start, end = at[strip.start], at[strip.end]
    axis = math.radians(at["axis point"][0])
    across = {
        "midline": (0.0, 1.0, 0.0),
        "centre line": (1.0, 0.0, 0.0),
        "axis line": (math.cos(axis), 0.0, -math.sin(axis)),
    }
    for name, pole in across.items():  # an arc of less than half a circle crosses another circle if its ends part
        sides = [sum(a * b for a, b in zip(globe.vector(spot), pole, strict=True)) for spot in (start, end)]
        if min(map(abs, sides)) > 1e-6:
            assert bool(strip.at_in(name)) == (sides[0] * sides[1] < 0)
    for tick in strip.ticks:
        here = globe.vector(globe.walk(start, globe.azimuth(start, end), tick.at_in))
        if tick.name in across:
            assert sum(a * b for a, b in zip(here, across[tick.name], strict=True)) == pytest.approx(0.0, abs=1e-8)
        elif tick.name.endswith(" in"):
            assert tick.at_in == float(tick.name.removesuffix(" in"))
        else:
            assert here == pytest.approx(globe.vector(at[tick.name]), abs=1e-8)


def test_every_tick_is_where_a_walk_of_its_length_comes_to() -> None:
    for circumference_in, hand, point, layout in random_layouts(seed=4, count=200):
        laid = solve_layout(circumference_in, hand, point, layout)
        strips = lay_layout_strips(laid)
        assert len(strips) == 6
        for strip in strips:
            check_ticks(laid, strip)
            assert (strip.ticks[0].name, strip.ticks[0].at_in, strip.ticks[-1].name) == (strip.start, 0.0, strip.end)


@pytest.mark.parametrize("hand", HANDS)
def test_the_contracts_layout_has_strips_of_its_arcs(hand: Hand) -> None:
    found = {(s.start, s.end): s.length_in for s in lay_layout_strips(laid_out(hand))}
    expected = {  # the contract's worked arcs
        ("pin", "axis point"): 4.0,
        ("midline", "axis point"): 0.5,
        ("grip centre", "axis line"): 4.5,
        ("pin", "mass mark"): 6.75,
        ("grip centre", "pin"): 3.670435,
        ("grip centre", "mass mark"): 4.106627,
    }
    assert found == pytest.approx(expected, abs=6e-7)
    assert list(found) == list(expected)


def test_the_lines_that_a_strip_crosses_are_ticked_and_no_others() -> None:
    # by hand: the pin stands above the midline and the mark below it, both right of the centre line and left of the
    # axis line; so only the strip between them crosses the midline, and none crosses another line
    for strip in lay_layout_strips(laid_out()):
        inner = [t.name for t in strip.ticks[1:-1] if not t.name.endswith(" in")]
        assert inner == (["midline"] if (strip.start, strip.end) == ("pin", "mass mark") else [])


def test_whole_inches_are_ticked_but_not_beside_another_tick() -> None:
    strips = {(s.start, s.end): s for s in lay_layout_strips(laid_out(point=AxisPoint(4.5, 1.0625)))}
    assert [t.name for t in strips["midline", "axis point"].ticks] == ["midline", "axis point"]
    assert [t.name for t in strips["pin", "axis point"].ticks][-3:] == ["2 in", "3 in", "axis point"]
    assert [t.name for t in strips["grip centre", "axis line"].ticks] == [
        "grip centre", "1 in", "2 in", "3 in", "4 in", "axis line",
    ]  # fmt: skip
    kinds = {t.name: t.kind for t in strips["grip centre", "axis line"].ticks}
    assert (kinds["grip centre"], kinds["1 in"], kinds["axis line"]) == ("centre", "line", "line")


def test_a_strip_longer_than_the_page_is_parted_at_a_whole_inch_or_a_mark() -> None:
    laid = laid_out(layout=Layout(4.0, 35.0, 40.0, 12.0))
    long = next(s for s in lay_layout_strips(laid) if s.end == "mass mark" and s.start == "pin")
    pieces = break_strip(long, 6.5, 0.5)
    assert len(pieces) == 2
    assert pieces[0].after == pieces[1].before != ""
    assert max(piece.length_in for piece in pieces) <= 6.5


def test_an_axis_point_on_the_midline_needs_no_strip_up_to_it() -> None:
    found = [(s.start, s.end) for s in lay_layout_strips(laid_out(point=AxisPoint(4.5, 0.0)))]
    assert ("midline", "axis point") not in found
    assert len(found) == 5


@pytest.mark.parametrize("z", [1.0, -1.0])
def test_a_pin_on_the_grip_centre_or_opposite_it_needs_no_strip_from_there(z: float) -> None:
    laid = replace(laid_out(point=POINT, layout=LAYOUT), pin=(0.0, 0.0, z))
    assert ("grip centre", "pin") not in [(s.start, s.end) for s in lay_layout_strips(laid)]


def test_a_strip_from_the_pole_of_a_line_meets_it_after_a_quarter_of_the_ball() -> None:
    """By the definition of a great circle's pole: 27 in round, 6.75 in; no layout's strip starts just there."""
    strip = _lay_strip(laid_out(), "grip centre", (0.0, 1.0, 0.0), "pin", (0.6, -0.8, 0.0))
    assert strip.at_in("midline") == pytest.approx([6.75], abs=1e-12)
