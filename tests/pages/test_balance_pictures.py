"""The drawing of a balance, by its places."""

import math
from dataclasses import replace
from itertools import combinations

import pytest

from app.calculation.balance_verdicts import BalanceLimits
from app.calculation.balances import NO_OUNCES, Uncertainty, UndrilledBall, balance
from app.calculation.ball_densities import start_density
from app.pages.balance_pictures import LEFT, RIGHT, RIM, BalancePicture, Box, draw_balance
from app.services.balance_starts import Start
from app.services.balances import Prediction
from tests.conftest import not_none

pytestmark = pytest.mark.once
LIMITS = BalanceLimits(3.0, 2.0, 1.0)
START = Start(240.0, 3.0, None, 0.125, False, False, (), ())


def predicted(across_in: float, along_in: float = 0.0) -> Prediction:
    ball = UndrilledBall(27.0, 240.0, 3.0, along_in, across_in)
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


def list_boxes(drawn: BalancePicture) -> list[Box]:
    return [*([drawn.dot.label] if drawn.dot else []), *(ring.label for ring in drawn.rings)]


PLACES = [(0.2, 0.0), (-0.2, 0.4), (2.2, 1.0), (-1.1, -2.4), (0.0, 0.0), (4.0, -0.3), (-3.5, 3.5)]


@pytest.mark.parametrize("limits", [LIMITS, BalanceLimits(1.0, 1.0, 1.0), BalanceLimits(3.0, 3.0, 3.0), None])
@pytest.mark.parametrize("weighed", [(), (-0.5, 0.25, 2.0), (0.8, 0.8, 0.5)])
@pytest.mark.parametrize(("across_in", "along_in"), PLACES)
def test_words_cover_nothing(
    across_in: float, along_in: float, weighed: tuple[float, ...], limits: BalanceLimits | None
) -> None:
    drawn = not_none(draw_balance(predicted(across_in, along_in), limits, weighed))
    dot, boxes = not_none(drawn.dot), list_boxes(drawn)
    assert not any(one.meets(other) for one, other in combinations(boxes, 2))
    # the figures of the prediction stand outside the rim, on the drawing, and clear of "fingers" and "thumb"
    assert not dot.label.is_within((0.0, 0.0), RIM + 1)
    assert dot.label.x >= LEFT
    assert dot.label.x + dot.label.width <= RIGHT
    assert not any(dot.label.meets(Box(-24, y, 48, 16)) for y in (-124.0, 110.0))
    assert (dot.label.x > 0) == (dot.x > 0)
    # those of the rings stand inside the rim and off every line and mark
    for ring in drawn.rings:
        assert all(math.hypot(*corner) < RIM - 1 for corner in ring.label.corners)
        assert not ring.label.is_within((dot.x, dot.y), 4)
        assert not ring.label.meets_line((dot.x, dot.y), dot.leader)
        assert not ring.label.meets_line((0.0, 0.0), not_none(drawn.axis))
        assert drawn.ring is None or not ring.label.is_within(drawn.ring, 6)
        if drawn.frame:
            ends = drawn.frame.corners
            assert not any(ring.label.meets_line(ends[i - 1], ends[i]) for i in range(4)), ring


@pytest.mark.parametrize(
    ("start", "end", "does"),
    [((-5, 1), (5, 1), True), ((-5, 3), (5, 3), False), ((-1, -1), (0.5, 0.5), True), ((3, 0), (0, 3), True),
     ((1.8, 0), (0, -1.8), True), ((4.1, 0), (0, 4.1), False), ((0, 9), (0, 3), False)],
)  # fmt: skip
def test_a_line_that_enters_a_box_is_found(start: tuple[float, float], end: tuple[float, float], does: bool) -> None:
    """Worked by hand: the box reaches from 0 to 2 across and from -1 to 2 down."""
    assert Box(0.0 - 1e-9, -1.0, 2.0, 3.0).meets_line(start, end) == does


def test_nothing_known_is_nothing_drawn_and_a_weighing_alone_is_drawn() -> None:
    assert draw_balance(None, LIMITS) is None
    assert draw_balance(replace(predicted(0.0), balance=None), LIMITS) is None
    drawn = not_none(draw_balance(None, LIMITS, (0.5, -0.25, 1.0)))
    assert drawn.dot is None
    assert "weighed 0.50 oz right, 0.25 oz thumb side, 1.00 oz top" in drawn.words
