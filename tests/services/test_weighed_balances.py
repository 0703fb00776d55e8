"""What a weighing is told, held against the calculation's own explanation."""

import json
from datetime import date
from fractions import Fraction

import pytest
from pydantic import JsonValue
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.calculation.balances import NORMAL
from app.calculation.ball_densities import Found, explain_difference
from app.errors import ConflictError, InvalidError
from app.models import Drilling, DrillingStep, Regulation, Scale, Weighing
from app.schemas.balance_views import BalanceWeighingForm, LookForm
from app.services import weighed_balances
from app.services.weighed_balances import find_scale, take_typed
from tests.conftest import not_none
from tests.services.test_balances import contract_plan, leave_thumb_out

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


def test_a_retired_scale_is_not_taken_for_one_in_use(session: Session, plan: Drilling, scale: Scale) -> None:
    second = Scale(shop_id=plan.shop_id, label="Second", readings_oz=[], retired_at=plan.planned_at)
    session.add(second)
    session.flush()
    assert find_scale(session) is scale
    scale.retired_at, second.retired_at = plan.planned_at, None
    session.flush()
    assert find_scale(session) is second
    second.retired_at = plan.planned_at
    session.flush()
    assert find_scale(session) is None


def keep(session: Session, drilling: Drilling, posted: BalanceWeighingForm) -> dict[str, object]:
    """What is kept of a weighing, whatever was to be expected."""
    told = weighed_balances.add(session, drilling, posted.model_copy(update={"as_read": True})).verdict
    return dict(json.loads(json.dumps(told)))


def rule(session: Session, who: str, **body: JsonValue) -> None:
    row = Regulation(
        edition="Made up", in_force_from=date(2026, 1, 1), source="this test", body=body, staff_id=int(who)
    )
    session.add(row)
    session.flush()


def test_a_ball_that_was_not_put_on_the_scale_is_as_heavy_as_its_label_within_2_oz(
    session: Session, who: str, drilled: Drilling, scale: Scale
) -> None:
    # 95 % of a normal doubt is 1.96 of it: 3.9 oz by the label's 2 oz, 0.7 oz by a scale's 0.35 oz
    posted = form(who, scale)
    weight_oz = not_none(not_none(weighed_balances.predict(session, drilled, posted)).drilled_oz)
    apart: JsonValue = f"{weight_oz - 2:.2f}"
    rule(session, who, classes=[{"over_oz": apart, "side_oz": "3"}, {"up_to_oz": apart, "side_oz": "3/4"}])
    by_label = keep(session, drilled, posted)
    assert (by_label["weight_oz"], by_label["is_between_classes"]) == (pytest.approx(weight_oz), True)
    weighed = keep(session, drilled, form(who, scale, weight=f"{weight_oz:.2f} oz"))
    assert (weighed["weight_oz"], weighed["is_between_classes"]) == (pytest.approx(weight_oz, abs=0.01), False)


def test_a_weighing_is_held_against_the_arm_of_its_own_scale(
    session: Session, who: str, drilled: Drilling, scale: Scale
) -> None:
    other = Scale(shop_id=drilled.shop_id, label="Second", readings_oz=[], arm_in=Fraction(5))
    session.add(other)
    session.flush()
    told = keep(session, drilled, form(who, other, scale_for_arm=str(scale.id)))
    own, another = (
        not_none(not_none(weighed_balances.predict(session, drilled, form(who, scale), of.id)).balance).ounces
        for of in (other, scale)
    )
    predicted = told["predicted"]
    assert isinstance(predicted, dict)
    assert list(predicted.values()) == pytest.approx(list(own))
    assert abs(own.finger_oz - another.finger_oz) > 0.02


@pytest.mark.parametrize(("has_thumb", "limit_oz"), [(True, 3.0), (False, 0.125)])
def test_a_weighed_ball_without_a_thumb_hole_has_the_limits_and_the_plus_of_such_balls(
    session: Session, who: str, drilled: Drilling, scale: Scale, has_thumb: bool, limit_oz: float
) -> None:
    rule(
        session, who, classes=[{"side_oz": "3"}], without_thumb=[{"side_oz": "1/8"}], needs_plus_without_thumb=True
    )  # fmt: skip
    drilled.plan = not_none(drilled.plan) if has_thumb else leave_thumb_out(not_none(drilled.plan))
    session.flush()
    told = keep(session, drilled, form(who, scale))
    directions = told["directions"]
    assert isinstance(directions, list)
    assert directions[0]["limit_oz"] == limit_oz
    assert (told["state"], told["needs_plus"]) == (("inside", False) if has_thumb else ("weigh it", True))


def test_a_spot_that_is_nowhere_is_refused_at_its_field(session: Session, drilled: Drilling) -> None:
    with pytest.raises(InvalidError) as refused:
        weighed_balances.predict(session, drilled, LookForm.read(START | {"across": "8"}))
    assert list(refused.value.fields) == ["across"]
