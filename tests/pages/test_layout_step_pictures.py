"""The drawings of a marking list's steps: each step adds its own, and a step of no length is drawn as a point."""

import math
from itertools import product

import pytest

from app.calculation.grip import Hand
from app.calculation.layout_strips import lay_layout_strips
from app.calculation.layouts import AxisPoint, Layout, solve_layout
from app.calculation.marking_lists import list_marks
from app.pages.ball_labels import letter_ball
from app.pages.layout_pictures import draw_layout
from app.pages.layout_step_pictures import draw_step

POINTS = [AxisPoint(*point) for point in product((-4.0, 0.0, 4.5), (-0.5, 0.0, 0.5))]


@pytest.mark.parametrize("hand", ["right", "left"])
@pytest.mark.parametrize("point", POINTS, ids=lambda point: f"{point.over_in} {point.up_in}")
def test_each_step_of_every_layout_is_drawn_with_what_it_adds(hand: Hand, point: AxisPoint) -> None:
    """Pins on the axis line and square to it, and marks on the line back to the axis point and square to that."""
    for pin_axis_in, axis_line_deg, drilling_deg in product(
        (1 / 16, 4.0, 13.0), (-180.0, -90.0, 0.0, 180.0), (-90.0, 0.0, 180.0)
    ):
        laid = solve_layout(27.0, hand, point, Layout(pin_axis_in, axis_line_deg, drilling_deg))
        letter_ball(draw_layout(laid), "layout")
        assert lay_layout_strips(laid)
        for i in range(len(list_marks(laid).steps)):
            picture = draw_step(laid, i)
            letter_ball(picture, "step", "now")
            lit = [shape for shape in picture.shapes if shape.parts == ("now",)]
            assert lit, i
            assert all(shape.points for shape in picture.shapes)
            assert all(math.isfinite(x) for shape in picture.shapes for at in shape.points for x in at)


@pytest.mark.parametrize(("point", "step"), [(AxisPoint(4.0, 0.0), 2), (AxisPoint(0.0, 0.5), 3)])
def test_a_step_of_no_length_adds_its_dot_and_no_arc(point: AxisPoint, step: int) -> None:
    laid = solve_layout(27.0, "right", point, Layout(4.0, 35.0, 40.0))
    kinds = {shape.kind for shape in draw_step(laid, step).shapes if shape.parts == ("now",)}
    assert "dot" in kinds
    assert "span" not in kinds
