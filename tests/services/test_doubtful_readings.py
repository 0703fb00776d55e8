"""A weighing that nobody expects is asked about at its fields and kept after "yes, as read"; it teaches nothing."""

import json
from fractions import Fraction

import pytest
from sqlalchemy.orm import Session

from app.errors import InvalidError
from app.models import Drilling, Scale, Weighing
from app.schemas.balance_views import BalanceWeighingForm
from app.services import ball_kinds, weighed_balances
from tests.conftest import not_none
from tests.services.test_balances import contract_plan
from tests.services.test_ball_kinds import another

# 3 oz on top, a heavy spot 2 in to the right: what is predicted is well to the right and on top
START = {"start_top": "3", "along": "0", "across": "2", "across_way": "right"}
READ = {"right_1": "1 3/8 right", "right_2": "1 1/4 right", "finger_1": "1/4 finger", "top_1": "1 1/2 top"}
UNREAD = dict.fromkeys(READ, "")


@pytest.fixture
def drilled(session: Session, plan: Drilling) -> Drilling:
    plan.plan, plan.state = contract_plan(not_none(plan.plan)), "drilled"
    plan.ball.weight_lb = Fraction(15)
    session.add(Scale(id=1, shop_id=plan.shop_id, label="Bench", readings_oz=[], resolution_oz=Fraction(1, 16)))
    session.flush()
    return plan


def weigh(session: Session, drilling: Drilling, who: str, **typed: str) -> Weighing:
    form = BalanceWeighingForm.read(START | READ | {"who": who, "scale_id": "1", "stage": "after"} | typed)
    return weighed_balances.add(session, drilling, form)


def test_what_was_expected_is_kept_unasked(session: Session, who: str, drilled: Drilling) -> None:
    told = json.loads(json.dumps(weigh(session, drilled, who).verdict))
    assert told["is_explained"]
    assert told["density"]["balls"] == 1


def test_a_side_the_wrong_way_round_is_offered_turned(session: Session, who: str, drilled: Drilling) -> None:
    with pytest.raises(InvalidError) as asked:
        weigh(session, drilled, who, right_1="1 3/8 left", right_2="1 1/4 left")
    fields = asked.value.fields
    assert set(fields) == {"right_1", "right_2", "as_read"}
    assert (fields["right_1"].choices, fields["right_2"].choices) == (("1 3/8 right",), ("1 1/4 right",))
    turned = {name: fields[name].choices[0] for name in ("right_1", "right_2")}
    assert weigh(session, drilled, who, **turned).right_1_oz == Fraction(11, 8)


def test_what_would_not_agree_turned_has_no_choice(session: Session, who: str, drilled: Drilling) -> None:
    with pytest.raises(InvalidError) as asked:
        weigh(session, drilled, who, top_1="6 bottom")
    assert asked.value.fields["top_1"].choices == ()
    assert set(asked.value.fields) == {"top_1", "as_read"}


def test_what_is_kept_as_read_teaches_no_density(session: Session, who: str, drilled: Drilling) -> None:
    kept = weigh(session, drilled, who, top_1="6 bottom", as_read="true")
    told = json.loads(json.dumps(kept.verdict))
    assert told["found"]["top"] == -6
    assert not told["is_explained"]
    assert "density" not in told
    assert not_none(ball_kinds.learn_density(session, another(session, drilled, drilled.ball.label))).balls == 0


@pytest.mark.parametrize(("stage", "state"), [("before", "planned"), ("after", "drilled")])
def test_a_weight_far_from_the_label_is_asked(
    session: Session, who: str, drilled: Drilling, stage: str, state: str
) -> None:
    drilled.state = state
    with pytest.raises(InvalidError) as asked:
        weigh(session, drilled, who, stage=stage, weight="9 lb", **UNREAD)
    assert set(asked.value.fields) == {"weight", "as_read"}
    assert weigh(session, drilled, who, stage=stage, weight="9 lb", as_read="true", **UNREAD).weight_oz == 144


@pytest.mark.parametrize("weight", ["15 lb 7 oz", "14 lb 8 1/4 oz"])
def test_a_weight_near_the_label_is_kept_unasked(session: Session, who: str, drilled: Drilling, weight: str) -> None:
    drilled.state = "planned"
    assert weigh(session, drilled, who, stage="before", weight=weight, **UNREAD).weight_oz is not None


@pytest.mark.parametrize("weight", ["15 lb 8 oz", "14 lb 8 oz"])
def test_a_weight_half_a_pound_from_the_label_is_asked(
    session: Session, who: str, drilled: Drilling, weight: str
) -> None:
    drilled.state = "planned"
    with pytest.raises(InvalidError) as asked:
        weigh(session, drilled, who, stage="before", weight=weight, **UNREAD)
    assert set(asked.value.fields) == {"weight", "as_read"}


def test_a_ball_of_unknown_weight_is_weighed_unasked(session: Session, who: str, drilled: Drilling) -> None:
    drilled.ball.weight_lb, drilled.state = None, "planned"
    session.flush()
    assert weigh(session, drilled, who, stage="before", weight="9 lb", **UNREAD).weight_oz == 144


# 3 oz, a heavy spot 2 in to the right of the grip centre of a ball 27 in round: 3 sin(2 / R) right, 3 cos(2 / R) on top
BEFORE = {"stage": "before", "right_1": "1 3/8 right", "finger_1": "even", "top_1": "2 5/8 top"}


@pytest.mark.parametrize(
    ("typed", "asked"),
    [
        ({}, set()),
        ({"right_1": "1 3/8 left"}, {"right_1"}),
        ({"top_1": "2 5/8 bottom"}, {"top_1"}),
        ({"finger_1": "1 1/2 thumb"}, {"finger_1"}),
        ({"right_1": "", "finger_1": "", "top_1": "2 1/2 bottom"}, {"top_1"}),
    ],
)
def test_a_weighing_before_drilling_is_held_against_marks_and_start(
    session: Session, who: str, drilled: Drilling, typed: dict[str, str], asked: set[str]
) -> None:
    drilled.state = "planned"
    wrong = BEFORE | {"right_2": ""} | typed
    if not asked:
        assert weigh(session, drilled, who, **wrong).top_1_oz == Fraction(21, 8)
        return
    with pytest.raises(InvalidError) as refused:
        weigh(session, drilled, who, **wrong)
    assert set(refused.value.fields) == asked | {"as_read"}
    assert weigh(session, drilled, who, **wrong, as_read="true").id


@pytest.mark.parametrize(
    ("typed", "asked"),
    [
        ({}, set()),  # 2.96 oz in all against 3
        ({"top_1": "1 top"}, {"right_1"}),  # 1.70 oz
        ({"right_1": "", "top_1": "3 1/2 top"}, {"top_1"}),
        ({"right_1": "", "top_1": "1 top"}, set()),  # the way that was not read may hold the rest
        ({"top_1": "2 5/8 bottom"}, {"top_1"}),
    ],
)
def test_where_nobody_knows_the_spot_the_top_weight_says_how_much_there_is(
    session: Session, who: str, drilled: Drilling, typed: dict[str, str], asked: set[str]
) -> None:
    drilled.state = "planned"
    wrong = BEFORE | {"right_2": "", "along": "", "across": "", "across_way": ""} | typed
    if not asked:
        assert weigh(session, drilled, who, **wrong).id
        return
    with pytest.raises(InvalidError) as refused:
        weigh(session, drilled, who, **wrong)
    assert set(refused.value.fields) == asked | {"as_read"}
