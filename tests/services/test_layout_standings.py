"""What a layout stands on that does not hold any more, and that a former owner's axis point is not taken up."""

from datetime import datetime, timedelta

import pytest
from sqlalchemy.orm import Session

from app.models import Bowler, Drilling, now
from app.schemas.layouts import BallMarksForm
from app.schemas.taken_back import TakingBackForm
from app.services import axis_points, ball_marks, layout_choices, layouts
from tests.conftest import not_none
from tests.services import test_axis_points
from tests.services.test_layout_choices import choose


def read_marks(session: Session, who: str, of: Drilling, at: datetime, **typed: str) -> None:
    before = ball_marks.find_newest(session, of.ball_id)
    form = {"who": who, "version": str(before.id if before else 0), "has_mass_mark": "yes"} | typed
    ball_marks.add(session, of.ball, BallMarksForm.read(form)).made_at = at
    session.flush()


def stale_of(session: Session, of: Drilling) -> tuple[str, ...]:
    """Told alike on the layout's page and in its drilling."""
    layout = not_none(layouts.list_of_ball(session, of.ball_id)[0])
    chosen = layout_choices.load(session, of.ball_id)
    on = layout_choices.stand_on(session, chosen, layout.axis_point, layout.marks)
    assert layout_choices.stand_in(session, of, layout).stale == on.stale
    return on.stale


def test_an_axis_point_taken_back_is_said_with_its_reason(session: Session, plan: Drilling, who: str) -> None:
    point = test_axis_points.add(session, who, plan.ball.bowler_id)
    choose(session, who, plan.ball_id, point.id)
    assert stale_of(session, plan) == ()
    axis_points.take_back(session, point.id, TakingBackForm.read({"who": who, "why": "of a borrowed ball"}))
    assert stale_of(session, plan) == ("axis point taken back (of a borrowed ball)",)


def test_a_former_owners_axis_point_is_said_without_a_name_and_never_taken_up(
    session: Session, plan: Drilling, who: str
) -> None:
    point = test_axis_points.add(session, who, plan.ball.bowler_id)
    made = choose(session, who, plan.ball_id, point.id)
    assert layouts.find_of(session, plan) is made
    plan.ball.bowler = not_none(session.get(Bowler, 2))
    session.flush()
    assert stale_of(session, plan) == ("axis point of a former owner",)
    assert layouts.find_of(session, plan) is None


@pytest.mark.parametrize(
    ("again", "is_told"), [({"pin_mark": "6 1/2"}, True), ({"pin_mark": "6 3/4", "real_weight": "15 lb"}, False)]
)
def test_marks_read_again_are_said_where_they_lie_otherwise(
    session: Session, plan: Drilling, who: str, again: dict[str, str], is_told: bool
) -> None:
    point = test_axis_points.add(session, who, plan.ball.bowler_id)
    day = now() - timedelta(days=3)
    read_marks(session, who, plan, day, pin_mark="6 3/4")
    choose(session, who, plan.ball_id, point.id)
    assert stale_of(session, plan) == ()
    read_marks(session, who, plan, now(), **again)
    days = [at.astimezone().date().isoformat() for at in (day, now())]
    assert stale_of(session, plan) == (
        (f"laid out from the marks of {days[0]}, read again {days[1]}",) if is_told else ()
    )
