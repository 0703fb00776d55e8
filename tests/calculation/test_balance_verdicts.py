"""Verdicts under limits as retail and rule texts print them; what is in force is a matter of the day."""

import pytest

from app.calculation.balance_verdicts import (
    BalanceLimits,
    BalanceVerdict,
    combine_verdicts,
    judge_balance,
    judge_weighing,
)
from app.calculation.balances import NORMAL, Balance, Doubt, Ounces

# source: published limits of the sport's governing bodies from 1 August 2018, and the older 1 oz aside; 8 to 10 lb as
# printed before that (edition not checked); under 8 lb from memory
NEW, OLD = BalanceLimits(3.0, 3.0, 3.0), BalanceLimits(1.0, 1.0, 3.0)
LIGHTER = BalanceLimits(0.75, 0.75, 2.0)
FIFTEEN_LB = 240.0


def predicted(right: float, u: float | None, finger: float = 0.0, top: float = 0.0) -> Balance:
    none = Ounces(0.0, 0.0, 0.0, 0.0)
    doubts = None if u is None else (Doubt("all", Ounces(u, u, u, 0.0)),)
    return Balance(Ounces(right, finger, top, FIFTEEN_LB), none, none, doubts)


@pytest.mark.parametrize(
    ("side", "limits", "state"),
    [(2.9, NEW, "inside"), (-2.9, NEW, "inside"), (3.0, NEW, "inside"), (3.1, NEW, "outside"), (-3.1, NEW, "outside"), (1.1, OLD, "outside"), (1.0, OLD, "inside")],
)  # fmt: skip
def test_a_15_lb_ball_is_judged_by_the_limits_of_its_edition(side: float, limits: BalanceLimits, state: str) -> None:
    verdict = judge_balance(predicted(side, 0.0), limits)
    assert verdict and verdict.state == state
    first = verdict.directions[0]
    assert (first.direction, first.state) == ("right_left", state)
    assert first.limit_oz == limits.right_left_oz
    assert first.margin_oz == pytest.approx((limits.right_left_oz or 0.0) - abs(side))


@pytest.mark.parametrize(
    ("value", "half", "state"),
    [(2.5, 0.4, "inside"), (2.5, 0.5, "inside"), (2.5, 0.6, "weigh it"), (3.5, 0.6, "weigh it"), (3.5, 0.5, "weigh it"), (3.5, 0.4, "outside"), (0.0, 4.0, "weigh it"), (-3.5, 0.4, "outside"), (-2.5, 0.6, "weigh it")],
)  # fmt: skip
def test_where_the_interval_straddles_the_limit_the_ball_is_weighed(value: float, half: float, state: str) -> None:
    verdict = judge_balance(predicted(value, half / NORMAL), NEW)
    assert verdict and verdict.state == state
    one = verdict.directions[0]
    assert one.margin_oz == pytest.approx(3.0 - abs(value))
    assert one.least_margin_oz == pytest.approx(3.0 - abs(value) - half)
    assert one.interval_oz == pytest.approx((value - half, value + half))
    weighed = judge_weighing(Ounces(value, 0.0, 0.0, FIFTEEN_LB), (half,) * 3, BalanceLimits(3.0, None, None))
    assert weighed and weighed.state == state


def test_a_prediction_without_an_interval_is_never_inside() -> None:
    assert (judge_balance(predicted(0.1, None), NEW) or pytest.fail()).state == "weigh it"
    assert (judge_balance(predicted(3.1, None), NEW) or pytest.fail()).state == "outside"


def test_the_worst_direction_decides() -> None:
    verdict = judge_balance(predicted(0.0, 0.1, finger=2.9, top=3.5), NEW)
    assert verdict and verdict.state == "outside"
    assert [d.state for d in verdict.directions] == ["inside", "weigh it", "outside"]
    assert [d.direction for d in verdict.directions] == ["right_left", "finger_thumb", "top_bottom"]
    doubtful = judge_balance(predicted(0.0, 0.1, finger=2.9), NEW)
    assert doubtful and doubtful.state == "weigh it"


def test_a_direction_without_a_limit_is_inside_and_has_no_margin() -> None:
    verdict = judge_balance(predicted(9.0, 0.0, top=2.0), BalanceLimits(None, None, 3.0))
    assert verdict and verdict.state == "inside"
    assert verdict.directions[0].margin_oz is verdict.directions[0].least_margin_oz is None
    assert verdict.directions[2].margin_oz == pytest.approx(1.0)


def test_the_directions_without_a_limit_are_named() -> None:
    assert BalanceLimits(1.0, None, 2.0).unlimited == ("finger_thumb",)
    assert NEW.unlimited == ()


def judged(right: float, limits: BalanceLimits) -> BalanceVerdict:
    return judge_balance(predicted(right, 0.0), limits) or pytest.fail()


@pytest.mark.parametrize(("right", "state"), [(0.5, "inside"), (2.0, "weigh it"), (3.5, "outside")])
def test_a_ball_of_either_class_is_weighed_where_they_differ(right: float, state: str) -> None:
    # source: NEW over 10 lb, 3/4 oz aside up to 10 lb, as above
    for one, other in ((NEW, LIGHTER), (LIGHTER, NEW)):
        both = combine_verdicts(judged(right, one), judged(right, other))
        assert both.state == state
        assert both.directions[0].state == state
        assert both.directions[0].limit_oz == 0.75
    assert combine_verdicts(judged(0.0, NEW), None).state == "weigh it"


def test_without_limits_there_is_no_verdict() -> None:
    assert judge_balance(predicted(0.0, 0.0), None) is None
    assert judge_weighing(Ounces(0.0, 0.0, 0.0, FIFTEEN_LB), (0.0,) * 3, None) is None


def test_the_end_of_an_interval_on_the_limit_is_inside() -> None:
    # 0.2 and 0.1 are 0.3 to a person, and a little more in binary
    weighed = judge_weighing(Ounces(0.2, -0.2, 0.0, FIFTEEN_LB), (0.1,) * 3, BalanceLimits(0.3, 0.3, 0.3))
    assert weighed and [d.state for d in weighed.directions] == ["inside"] * 3
