"""What a press is set to, read from stored plans: by hand from the plan, and not read twice."""

from dataclasses import replace
from fractions import Fraction

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.models import Drilling
from app.services import set_ups
from tests.conftest import CountQueries, not_none


def test_balls_of_one_bore_share_a_set_up_and_others_do_not(session: Session) -> None:
    drillings = session.scalars(select(Drilling).order_by(Drilling.id)).all()
    found = set_ups.find(session, [(of.id, of.version) for of in drillings])
    planned = [of for of in drillings if of.current_plan]
    assert set(found) == {of.id for of in planned}
    for of in planned:
        plan, told = not_none(of.current_plan), found[of.id]
        cut = plan.bore or not_none(plan.grip.thumb)
        bit_in = plan.bore.bore_in if plan.bore else not_none(plan.grip.thumb).hole_in
        assert told.hole == ("bore" if plan.bore else "thumb")
        planned_in = (bit_in, cut.depth_in, cut.forward_in, cut.right_in)
        for value, was in zip((told.bit_in, told.depth_in, told.forward_in, told.right_in), planned_in, strict=True):
            assert abs(float(value) - was) <= 1 / 256
            assert value == Fraction(round(value * 128), 128)
    assert len({of.words for of in found.values()}) == len(set(found.values()))


def test_the_set_up_is_that_of_the_plan_as_met(session: Session) -> None:
    of = next(of for of in session.scalars(select(Drilling)) if of.plan and of.plan.bore)
    plan = not_none(of.plan)
    bore = replace(not_none(plan.bore), depth_in=2.5, forward_in=-0.25)
    of.as_met = replace(plan, bore=bore)
    session.flush()
    told = set_ups.find(session, [(of.id, of.version)])[of.id]
    assert (told.depth_in, told.forward_in) == (Fraction(5, 2), Fraction(-1, 4))
    assert "collar 2 1/2" in told.words


def test_a_plan_is_read_once_for_each_version(session: Session, count_queries: CountQueries) -> None:
    of = not_none(session.get(Drilling, 1))
    asked = [(of.id, of.version)]
    set_ups.find(session, asked)
    assert count_queries(lambda: set_ups.find(session, asked)) == 0
    assert count_queries(lambda: set_ups.find(session, [(of.id, of.version + 1)])) == 1
    assert set_ups.find(session, []) == {}
