"""What weighings of one ball tell of the next of its kind."""

from fractions import Fraction

import pytest
from sqlalchemy.orm import Session

from app.calculation.balances import mean_density_oz_in3
from app.calculation.ball_densities import sharpen_density, start_density
from app.models import Ball, BallMarks, Drilling, Scale, Weighing
from app.services import balance_starts, balances, ball_kinds
from app.services.balance_starts import TypedStart
from app.services.ball_kinds import learn_density, name_kind, tell_found
from app.services.read_balances import ReadBalance, read_weighing
from tests.conftest import not_none
from tests.services.test_balances import contract_plan

MEAN = mean_density_oz_in3(240.0, 27.0)


@pytest.fixture
def weighed(session: Session, plan: Drilling, who: str) -> Weighing:
    """The planned ball, weighed before and after drilling; a second ball of its kind is not drilled yet."""
    plan.plan = contract_plan(not_none(plan.plan))
    plan.ball.weight_lb = Fraction(15)
    scale = Scale(shop_id=plan.shop_id, label="Bench", readings_oz=[], resolution_oz=Fraction(1, 64))
    session.add(scale)
    session.flush()
    common = {"ball_id": plan.ball_id, "drilling_id": plan.id, "scale_id": scale.id, "staff_id": int(who), "typed": {}}
    zero, three = Fraction(0), Fraction(3)
    session.add(
        Weighing(stage="before", weight_oz=Fraction(240), right_1_oz=zero, finger_1_oz=zero, top_1_oz=three, **common)
    )
    after = Weighing(stage="after", weight_oz=Fraction(238), right_1_oz=zero, finger_1_oz=Fraction(1, 4), top_1_oz=Fraction(7, 4), **common)  # fmt: skip
    session.add(after)
    session.flush()
    return after


def another(session: Session, like: Drilling, label: str, pounds: int = 15) -> Drilling:
    ball = Ball(bowler_id=like.ball.bowler_id, label=label, weight_lb=Fraction(pounds), circumference_in=Fraction(27))
    session.add(ball)
    session.flush()
    made = Drilling(
        ball=ball, fit_id=like.fit_id, shop_id=like.shop_id, state="planned", plan=like.plan, staff_id=like.staff_id,
        tolerance_in=like.tolerance_in, tolerance_source="",
    )  # fmt: skip
    session.add(made)
    session.flush()
    return made


def test_a_kind_is_its_label_and_its_weight() -> None:
    ball = Ball(label=" New  Red ", weight_lb=Fraction(121, 8))
    assert name_kind(ball) == name_kind(Ball(label="new red", weight_lb=Fraction(15)))
    assert name_kind(ball) != name_kind(Ball(label="new red", weight_lb=Fraction(14)))
    assert name_kind(ball) != name_kind(Ball(label="new blue", weight_lb=Fraction(15)))


def test_the_next_ball_of_the_kind_starts_from_what_the_first_one_told(
    session: Session, plan: Drilling, weighed: Weighing
) -> None:
    found = not_none(learn_density(session, another(session, plan, "new  RED")))
    start = start_density(MEAN)
    predicted = not_none(balances.predict(session, plan, density=start, scale=weighed.scale))
    read = read_weighing(weighed)
    assert found == sharpen_density(start, not_none(predicted.balance), tell_found(read, True))
    assert found.balls == 1
    assert found.fraction < start.fraction


def test_the_own_ball_another_kind_and_a_weighing_taken_back_tell_nothing(
    session: Session, plan: Drilling, weighed: Weighing
) -> None:
    start = start_density(MEAN)
    assert not_none(learn_density(session, plan)).balls == 0
    for drilling in (another(session, plan, "Old green"), another(session, plan, "New red", 14)):
        assert not_none(learn_density(session, drilling)).balls == 0
    weighed.taken_back_at = plan.planned_at
    session.flush()
    assert not_none(learn_density(session, another(session, plan, "New red"))) == start


def test_a_ball_counts_once_by_its_newest_weighing(session: Session, plan: Drilling, weighed: Weighing) -> None:
    before = not_none(learn_density(session, another(session, plan, "New red")))
    again = Weighing(
        ball_id=plan.ball_id, drilling_id=plan.id, scale_id=weighed.scale_id, staff_id=weighed.staff_id, stage="after",
        weight_oz=Fraction(1899, 8), typed={},
    )  # fmt: skip
    session.add(again)
    session.flush()
    after = not_none(learn_density(session, another(session, plan, "New red")))
    assert after.balls == 1
    assert after.density_oz_in3 != before.density_oz_in3


def test_what_was_typed_for_a_weighing_is_kept_and_counts_for_the_next_ball(
    session: Session, plan: Drilling, weighed: Weighing
) -> None:
    session.query(Weighing).filter_by(stage="before").delete()
    assert not_none(learn_density(session, another(session, plan, "New red"))).balls == 0  # no heavy spot is known
    typed = TypedStart(Fraction(13, 4), Fraction(-1, 3), Fraction(1, 16))
    weighed.counted_from = typed.write()
    session.flush()
    session.expire(weighed, ["counted_from"])
    assert balance_starts.read_start(weighed) == typed
    predicted = not_none(balances.predict(session, plan, typed, start_density(MEAN), weighed.scale))
    told = sharpen_density(start_density(MEAN), not_none(predicted.balance), tell_found(read_weighing(weighed), False))
    assert not_none(learn_density(session, another(session, plan, "New red"))) == told
    weighed.counted_from = None
    session.flush()
    session.expire(weighed, ["counted_from"])
    assert balance_starts.read_start(weighed) == TypedStart()


def test_a_weight_counts_only_where_it_was_weighed_before_too() -> None:
    read = ReadBalance((0.0, None, 1.0), (0.1, 0.1, 0.1), 238.0)
    assert tell_found(read, False).weight_oz is None
    assert tell_found(read, True).weight_oz == 238.0


def test_a_ball_of_unknown_weight_has_no_density(session: Session, plan: Drilling) -> None:
    plan.ball.weight_lb = None
    session.query(BallMarks).delete()
    assert learn_density(session, plan) is None
    assert ball_kinds.MOST > 0
