"""Weighings: readings with their sides, the verdict kept as told, and one taken back."""

from datetime import date, timedelta
from fractions import Fraction

import pytest
from sqlalchemy.orm import Session

from app.errors import ConflictError, InvalidError
from app.models import Weighing
from app.schemas.forms import SignedForm
from app.schemas.taken_back import TakingBackForm
from app.schemas.weighings import WeighingForm
from app.services import balls, regulations, weighings
from tests.services import test_scales

READ = {
    "stage": "after", "drilling_id": "1", "weight": "14 lb 13 oz", "right_1": "1/4 left", "right_2": "3/16 left",
    "finger_1": "1/8 thumb", "finger_2": "unknown", "top_1": "1 3/4 top",
}  # fmt: skip


def add(session: Session, who: str, **typed: str) -> Weighing:
    scale = test_scales.add(session, who, label=f"Scale {typed}")
    form = WeighingForm.read({"who": who, "scale_id": str(scale.id)} | READ | typed)
    made = weighings.add(session, balls.get_ball(session, 1), form, {"verdict": "weigh it", "margin_oz": 0.25})
    session.flush()
    return made


def test_readings_are_signed_exactly_and_keep_their_texts(session: Session, who: str) -> None:
    made = add(session, who)
    assert made.weight_oz == 237
    assert (made.right_1_oz, made.right_2_oz) == (Fraction(-1, 4), Fraction(-3, 16))
    assert (made.finger_1_oz, made.finger_2_oz, made.top_1_oz, made.top_2_oz) == (
        Fraction(-1, 8), None, Fraction(7, 4), None,
    )  # fmt: skip
    assert made.typed["finger_2"] == "unknown"
    assert made.verdict == {"verdict": "weigh it", "margin_oz": 0.25}


def test_a_weighing_that_read_nothing_is_asked_about(who: str) -> None:
    with pytest.raises(InvalidError) as asked:
        WeighingForm.read({"who": who, "scale_id": "1", "stage": "before", "weight": "unknown"})
    assert list(asked.value.fields) == ["weight"]


def test_a_weighing_names_a_drilling_of_its_own_ball(session: Session, who: str) -> None:
    with pytest.raises(InvalidError) as refused:
        add(session, who, drilling_id="2")
    assert list(refused.value.fields) == ["drilling_id"]


def test_nothing_is_weighed_under_a_regulation_that_is_not_in_force_today(session: Session, who: str) -> None:
    rules = regulations.add_example(session, SignedForm.read({"who": who}))
    today = date.today()
    made = add(session, who, regulation_id=str(rules.id))
    assert made.regulation_id == rules.id
    form = WeighingForm.read({"who": who, "scale_id": str(made.scale_id), "regulation_id": str(rules.id)} | READ)
    for starts, ends in ((rules.in_force_from, today), (today + timedelta(days=1), None)):
        rules.in_force_from, rules.ended_on = starts, ends
        session.flush()
        with pytest.raises(InvalidError) as refused:
            weighings.add(session, balls.get_ball(session, 1), form)
        assert list(refused.value.fields) == ["regulation_id"]


def test_one_taken_back_counts_nowhere_and_is_kept(session: Session, who: str) -> None:
    made = add(session, who)
    assert weighings.list_of_drilling(session, 1) == [made]
    form = TakingBackForm.read({"who": who, "version": str(made.version), "why": "the ball was wet"})
    weighings.take_back(session, made.id, form)
    session.flush()
    assert weighings.list_of_drilling(session, 1) == []
    assert weighings.list_of_ball(session, 1) == [made]
    with pytest.raises(ConflictError):
        weighings.take_back(session, made.id, form.model_copy(update={"version": made.version}))


@pytest.mark.parametrize(
    ("typed", "fields"),
    [
        ({"right_1": "3 left", "right_2": "3 right"}, ["right_2"]),
        ({"right_1": "1/4 left", "right_2": "1/4 right"}, []),  # half an ounce apart
        ({"right_1": "1/4 left", "right_2": "9/32 right"}, ["right_2"]),
        ({"top_1": "2 top", "top_2": "2 bottom", "finger_1": "2 finger", "finger_2": "2 thumb"}, ["finger_2", "top_2"]),
    ],
)
def test_two_readings_that_contradict_each_other_are_asked(who: str, typed: dict[str, str], fields: list[str]) -> None:
    told: list[str] = []
    try:
        WeighingForm.read({"who": who, "scale_id": "1"} | READ | typed)
    except InvalidError as error:
        told = list(error.fields)
    assert told == fields
