"""The drawing of a balance, by its places."""

import math
from dataclasses import replace

import pytest

from app.calculation.balance_verdicts import BalanceLimits
from app.calculation.balances import NO_OUNCES, Uncertainty, UndrilledBall, balance
from app.calculation.ball_densities import start_density
from app.pages.balance_pictures import RIM, draw_balance
from app.services.balances import Prediction, Start
from tests.conftest import not_none

pytestmark = pytest.mark.once
LIMITS = BalanceLimits(3.0, 2.0, 1.0)
START = Start(240.0, 3.0, None, 0.125, False, False, (), ())


def predicted(across_in: float) -> Prediction:
    ball = UndrilledBall(27.0, 240.0, 3.0, 0.0, across_in)
    found = balance(ball, (), Uncertainty(0.15, 0.125, 0.125))
    return Prediction(START, start_density(0.7), (), NO_OUNCES, ball, None, found, side=(0.6, 0.8))


def test_ounces_have_one_scale_each_way_and_the_frame_lies_inside_the_rim() -> None:
    drawn = not_none(draw_balance(predicted(1.0), LIMITS, (-0.5, 0.25, 2.0)))
    ounce = RIM / drawn.reach_oz
    frame, dot = not_none(drawn.frame), not_none(drawn.dot)
    assert (frame.width, frame.height) == pytest.approx((6 * ounce, 4 * ounce))
    assert math.hypot(frame.x, frame.y) < RIM
    assert (dot.x, dot.y) == pytest.approx((3 * math.sin(1.0 / (13.5 / math.pi)) * ounce, 0.0), abs=1e-9)
    assert drawn.ring == pytest.approx((-0.5 * ounce, -0.25 * ounce))
    assert drawn.column_ring == pytest.approx(-2 * ounce)
    assert drawn.column_limit == pytest.approx(ounce)
    assert drawn.axis == pytest.approx((60.0, -80.0))
    field = not_none(drawn.field)
    assert field.x < dot.x < field.x + field.width


@pytest.mark.parametrize(("across_in", "is_before"), [(0.2, False), (-0.2, True), (4.0, True), (-4.0, False)])
def test_words_stand_beside_the_interval_where_there_is_room(across_in: float, is_before: bool) -> None:
    drawn = not_none(draw_balance(predicted(across_in), None))
    dot, field = not_none(drawn.dot), not_none(drawn.field)
    assert dot.is_before == is_before
    assert dot.label_x < field.x if dot.is_before else dot.label_x > field.x + field.width
    assert drawn.frame is None


def test_nothing_known_is_nothing_drawn_and_a_weighing_alone_is_drawn() -> None:
    assert draw_balance(None, LIMITS) is None
    assert draw_balance(replace(predicted(0.0), balance=None), LIMITS) is None
    drawn = not_none(draw_balance(None, LIMITS, (0.5, -0.25, 1.0)))
    assert drawn.dot is None
    assert "weighed 0.50 oz right, 0.25 oz thumb side, 1.00 oz top" in drawn.words


def test_words_stay_on_the_drawing_however_wide_the_interval() -> None:
    ball = UndrilledBall(27.0, 240.0, 3.0, 0.0, -0.2)
    wide = replace(predicted(-0.2), balance=balance(ball, (), Uncertainty(0.15, 0.125, 2.3)))
    drawn = not_none(draw_balance(wide, LIMITS))
    dot = not_none(drawn.dot)
    assert dot.is_before
    assert dot.label_x > dot.x - 30 > -RIM / 2
