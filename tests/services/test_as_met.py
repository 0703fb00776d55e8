"""What is met at the bench against what was planned: values by closed forms, solids and geodesics named beside each."""

from fractions import Fraction

import pytest
from sqlalchemy.orm import Session

from app.models import DrillingStep, now
from app.models.plans import Plan
from app.services import shop_limits
from app.services.as_met import Answer, answer_step, put_in_met
from app.services.routes import ACTIONS
from app.services.shop_limits import SetLimit
from tests.conftest import not_none
from tests.services.test_work_outs import planned

LIKE_THE_THUMB = (-0.25, 0.1875)


@pytest.fixture
def limits(session: Session) -> dict[str, SetLimit]:
    return shop_limits.load_limits(session)


def step(action: str, position: int = 1, **met: object) -> DrillingStep:
    """A done step with what was met, numbers as text."""
    values = {
        name: Fraction(value) if name.endswith("_in") and isinstance(value, str) else value
        for name, value in met.items()
    }
    made = DrillingStep(action=action, hole=ACTIONS[action].hole, position=position, ticked_at=now(), skip_reason="")
    made.met_datum = ""
    for name, value in values.items():
        setattr(made, name, value)
    return made


def answer(plan: Plan, one: DrillingStep, limits: dict[str, SetLimit], kind: str = "bore_floor") -> Answer:
    return not_none(answer_step(plan, plan, put_in_met(plan, [one]), one, kind, limits))


def test_a_bore_too_deep_sinks_the_sleeve_by_as_much_and_is_shimmed_by_as_much(limits: dict[str, SetLimit]) -> None:
    got = answer(planned(LIKE_THE_THUMB), step("bore", met_depth_in="23/8", met_datum="collar"), limits)
    assert got.shim_in == pytest.approx(1 / 8)
    assert got.deepen_in is None
    assert got.is_beyond
    assert [term.what for term in got.terms[:2]] == ["Bore depth", "Sleeve"]
