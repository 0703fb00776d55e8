"""What a weighing is told, held against the calculation's own explanation."""

import json
from fractions import Fraction

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.calculation.balances import NORMAL
from app.calculation.ball_densities import Found, explain_difference
from app.errors import ConflictError, InvalidError
from app.models import Drilling, DrillingStep, Scale, Weighing
from app.schemas.balance_views import BalanceWeighingForm, LookForm
from app.services import weighed_balances
from app.services.weighed_balances import find_scale, take_typed
from tests.conftest import not_none
from tests.services.test_balances import contract_plan

START = {"start_top": "3", "along": "1/2", "along_way": "palm", "across": "1/4", "across_way": "left"}
READ = {"right_1": "1/4 left", "finger_1": "1/8 finger", "finger_2": "3/8 finger", "top_1": "1 3/4 top"}


@pytest.fixture
def scale(session: Session, plan: Drilling) -> Scale:
    made = Scale(shop_id=plan.shop_id, label="Bench", readings_oz=[], resolution_oz=Fraction(1, 16), arm_in=Fraction(4))
    session.add(made)
    session.flush()
    return made


@pytest.fixture
def drilled(session: Session, plan: Drilling) -> Drilling:
    plan.plan, plan.state = contract_plan(not_none(plan.plan)), "drilled"
    plan.ball.weight_lb = Fraction(15)
    session.flush()
    return plan


def form(who: str, scale: Scale, **typed: str) -> BalanceWeighingForm:
    return BalanceWeighingForm.read(START | READ | {"who": who, "scale_id": str(scale.id), "stage": "after"} | typed)


def test_the_places_typed_have_their_signs() -> None:
    typed = take_typed(LookForm.read(START))
    assert (typed.top_oz, typed.along_in, typed.across_in) == (Fraction(3), Fraction(-1, 2), Fraction(-1, 4))
    assert take_typed(LookForm.read({})).along_in is None


def test_what_each_doubt_accounts_for_is_kept(session: Session, who: str, drilled: Drilling, scale: Scale) -> None:
    posted = form(who, scale)
    told = json.loads(json.dumps(weighed_balances.add(session, drilled, posted).verdict))
    predicted = not_none(weighed_balances.predict(session, drilled, posted, scale.id))
    u = ((1 / 16) ** 2 / 12 + (1 / 16) ** 2 + (1 / 8) ** 2) ** 0.5  # read once: repeat, division, zero
    assert told["half_width_oz"] == pytest.approx(NORMAL * (u**2 + (0.05 * 1.75) ** 2) ** 0.5)  # the arm of 1 3/4 oz
    exact = explain_difference(not_none(predicted.balance), Found(-0.25, 0.25, 1.75, u, None))
    assert [share["source"] for share in told["shares"]] == [share.source for share in exact.shares]
    for kept, share in zip(told["shares"], exact.shares, strict=True):
        assert list(kept["change"].values()) == pytest.approx(list(share.change))
    kept = not_none(session.scalar(select(Weighing)))
    assert kept.counted_from == {"top_oz": "3", "along_in": "-1/2", "across_in": "-1/4"}
    assert "edition" not in told  # no regulation is in force: no verdict
    assert "state" not in told


def test_a_weighing_before_drilling_is_told_nothing(session: Session, who: str, plan: Drilling, scale: Scale) -> None:
    read = {"right_1": "1/8 left", "top_1": "2 7/8 top"}
    assert weighed_balances.add(session, plan, form(who, scale, stage="before", **read)).verdict == {}


@pytest.mark.parametrize("state", ["drilled", "closed", "planned"])
def test_a_ball_that_is_cut_is_not_weighed_before(
    session: Session, who: str, plan: Drilling, scale: Scale, state: str
) -> None:
    plan.state = state
    if state == "planned":
        cut = session.scalars(select(DrillingStep).where(DrillingStep.drilling_id == plan.id, DrillingStep.is_cut))
        next(iter(cut)).ticked_at = plan.planned_at
    with pytest.raises(InvalidError) as refused:
        weighed_balances.add(session, plan, form(who, scale, stage="before"))
    assert list(refused.value.fields) == ["stage"]


def test_a_ball_that_is_not_drilled_is_not_weighed_after(
    session: Session, who: str, plan: Drilling, scale: Scale
) -> None:
    with pytest.raises(InvalidError) as refused:
        weighed_balances.add(session, plan, form(who, scale))
    assert list(refused.value.fields) == ["stage"]
    plan.state = "plugged"
    with pytest.raises(ConflictError):
        weighed_balances.add(session, plan, form(who, scale, stage="before"))


def test_the_only_scale_in_use_is_taken(session: Session, plan: Drilling, scale: Scale) -> None:
    assert find_scale(session) is scale
    session.add(Scale(shop_id=plan.shop_id, label="Second", readings_oz=[]))
    session.flush()
    assert find_scale(session) is None
    assert find_scale(session, scale.id) is scale


def test_a_spot_that_is_nowhere_is_refused_at_its_field(session: Session, drilled: Drilling) -> None:
    with pytest.raises(InvalidError) as refused:
        weighed_balances.predict(session, drilled, LookForm.read(START | {"across": "8"}))
    assert list(refused.value.fields) == ["across"]
