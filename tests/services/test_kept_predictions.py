"""What a weighing was held against stays, whatever is typed of its ball afterwards."""

import json
from fractions import Fraction

import pytest
from sqlalchemy.orm import Session

from app.calculation.ball_densities import KindDensity
from app.models import BallMarks, Drilling, Scale, Weighing
from app.services import balances, ball_kinds, kept_predictions, weighed_balances
from app.services.balance_starts import TypedStart
from tests.conftest import not_none
from tests.services.test_balances import contract_plan
from tests.services.test_ball_kinds import another
from tests.services.test_weighed_balances import form

START = TypedStart(None, Fraction(1, 2), Fraction(1, 4))


@pytest.fixture
def scale(session: Session, plan: Drilling) -> Scale:
    made = Scale(shop_id=plan.shop_id, label="Bench", readings_oz=[], resolution_oz=Fraction(1, 16), arm_in=Fraction(4))
    session.add(made)
    session.flush()
    return made


@pytest.fixture
def drilled(session: Session, plan: Drilling, who: str) -> Drilling:
    plan.plan, plan.state = contract_plan(not_none(plan.plan)), "drilled"
    plan.ball.weight_lb = Fraction(15)
    session.add(BallMarks(ball_id=plan.ball_id, top_weight_oz=Fraction(3), staff_id=int(who), typed={}))
    session.flush()
    return plan


def weigh(session: Session, drilling: Drilling, who: str, scale: Scale) -> Weighing:
    kept = weighed_balances.add(session, drilling, form(who, scale, start_top=""))
    session.flush()
    kept.verdict = json.loads(json.dumps(kept.verdict))
    return kept


def test_marks_layout_scale_and_label_typed_later_change_nothing_that_was_learnt(
    session: Session, who: str, drilled: Drilling, scale: Scale
) -> None:
    weigh(session, drilled, who, scale)
    learnt = not_none(ball_kinds.learn_density(session, another(session, drilled, drilled.ball.label)))
    assert learnt.balls == 1
    session.add(BallMarks(ball_id=drilled.ball_id, top_weight_oz=Fraction(1), staff_id=int(who), typed={}))
    scale.arm_in = Fraction(5)
    session.flush()
    assert ball_kinds.learn_density(session, another(session, drilled, drilled.ball.label)) == learnt


def test_one_held_against_nothing_teaches_nothing_later(
    session: Session, who: str, drilled: Drilling, scale: Scale
) -> None:
    session.query(BallMarks).delete()
    kept = weigh(session, drilled, who, scale)
    assert (kept_predictions.has_kept(kept), kept_predictions.read(kept)) == (True, None)
    session.add(BallMarks(ball_id=drilled.ball_id, top_weight_oz=Fraction(3), staff_id=int(who), typed={}))
    session.flush()
    assert not_none(ball_kinds.learn_density(session, another(session, drilled, drilled.ball.label))).balls == 0
    assert not kept_predictions.has_kept(Weighing(verdict={}))


def test_a_kept_prediction_at_another_density_is_the_one_predicted_with_it(session: Session, drilled: Drilling) -> None:
    first, other = (
        not_none(balances.predict(session, drilled, START, KindDensity(density, 0.1, 0.02))) for density in (0.7, 0.8)
    )
    kept = not_none(kept_predictions.read(Weighing(verdict=json.loads(json.dumps(kept_predictions.write(first))))))
    assert kept.balance == first.balance
    moved, direct = kept.at_density(0.8), not_none(other.balance)
    assert moved.ounces == pytest.approx(direct.ounces, abs=1e-12)
    assert moved.removed == pytest.approx(direct.removed, abs=1e-12)
