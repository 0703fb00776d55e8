"""Remedies in words, and that each leads where it says."""

from dataclasses import replace
from fractions import Fraction

import pytest
from sqlalchemy.orm import Session

from app.calculation.balance_remedies import move_grip
from app.calculation.balance_verdicts import BalanceLimits, judge_balance
from app.calculation.balances import balance
from app.errors import InvalidError
from app.measures.reading import Reading
from app.models import Drilling
from app.services import balances
from app.services.balance_changes import list_changes, solve
from app.services.balance_starts import TypedStart
from app.services.balances import Prediction
from tests.conftest import not_none
from tests.services.test_balances import DENSITY, contract_plan

LIMITS = BalanceLimits(1.0, 1.0, 3.0)
LEFT = TypedStart(Fraction(3), Fraction(0), Fraction(-3))  # the heavy spot 3 in to the left


def far(**texts: str) -> dict[str, Reading[Fraction]]:
    return {name: Reading(text, "value", Fraction(text)) for name, text in texts.items()}


@pytest.fixture
def prediction(session: Session, plan: Drilling) -> Prediction:
    plan.plan = contract_plan(not_none(plan.plan))
    plan.ball.weight_lb = Fraction(15)
    return not_none(balances.predict(session, plan, LEFT, DENSITY))


def test_the_grip_moved_as_told_lies_inside_with_all_its_interval(prediction: Prediction) -> None:
    (found,) = solve(prediction, LIMITS, far(across="2"))
    assert found.state == "inside"
    assert found.words[0].endswith("to the left")
    text = found.words[0].removeprefix("Move the grip ").partition(" in ")[0]
    moved = -float(sum(Fraction(part) for part in text.split()))
    exact = balance(move_grip(not_none(prediction.ball), 0.0, moved), [one.hole for one in prediction.holes])
    assert found.balance.ounces == pytest.approx(exact.ounces)
    less = balance(
        move_grip(not_none(prediction.ball), 0.0, moved / 2),
        [one.hole for one in prediction.holes],
        prediction.uncertainty,
    )
    assert not_none(judge_balance(less, LIMITS)).state != "inside"  # half of the way is not enough


def test_where_no_change_leaves_room_for_the_doubt_it_says_weigh_it(prediction: Prediction) -> None:
    value = abs(not_none(prediction.balance).ounces.right_oz)
    tight = BalanceLimits(value - 0.2, 9.0, 9.0)
    found = solve(prediction, tight, far(across="3/8"))
    assert [one.state for one in found] == ["weigh it"]


def test_only_what_has_nothing_put_in_may_change_its_size_and_old_holes_stay(prediction: Prediction) -> None:
    names = [change.name for change in list_changes(prediction)]
    assert names == ["along", "across", "depth_1", "depth_2"]  # the thumb's bore is made for what stands in it
    assert solve(prediction, LIMITS, far(depth_0="2")) == []
    first, second, third = prediction.holes
    thumb = replace(first, hole=replace(first.hole, fills=()))
    names = [change.name for change in list_changes(replace(prediction, holes=(thumb, second, third)))]
    assert names == ["along", "across", "depth_0", "size_0", "depth_1", "depth_2"]
    opened = (replace(first, name="old thumb hole"), replace(second, hole=replace(second.hole, fills=())), third)
    names = [change.name for change in list_changes(replace(prediction, holes=opened))]
    assert names == ["along", "across", "depth_1", "size_1", "depth_2"]


def test_what_is_not_offered_is_not_tried_and_too_much_is_refused(prediction: Prediction) -> None:
    assert solve(prediction, LIMITS, far(size_0="1/4", depth_9="1/4")) == []
    assert solve(prediction, LIMITS, {}) == []
    with pytest.raises(InvalidError):
        solve(prediction, LIMITS, far(across="3"))  # more steps than are tried
