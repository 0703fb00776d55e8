"""The balance of layouts side by side: the contract's place, what moves with the heavy spot, and what is not known."""

from collections.abc import Sequence
from datetime import timedelta
from fractions import Fraction

import numpy as np
import pytest
from scipy.spatial.transform import Rotation
from sqlalchemy.orm import Session

from app.calculation.sphere import dot, unit
from app.models import AxisPoint, BallMarks, Drilling, Scale, Weighing, now
from app.services import balances, ball_kinds, layout_choices
from app.services.balance_starts import TypedStart
from app.services.layout_balances import LayoutBalance, predict_each
from app.services.layout_work_outs import TypedNumbers, WorkedLayout, work_out_layout
from tests.conftest import not_none
from tests.services import test_axis_points
from tests.services.test_layout_choices import choose

CONTRACT = TypedNumbers(Fraction(4), Fraction(35), Fraction(40))
OTHER = TypedNumbers(Fraction(5), Fraction(50), Fraction(-70))
TOP_OZ = 3


@pytest.fixture
def marks(session: Session, plan: Drilling, who: str) -> BallMarks:
    """A ball without a mass mark, its centre of gravity a quarter of the ball from the pin: the contract's mark."""
    made = BallMarks(
        ball_id=plan.ball_id, real_weight_oz=Fraction(240), top_weight_oz=Fraction(TOP_OZ), has_mass_mark=False,
        pin_centre_in=Fraction(27, 4), doubt_in=Fraction(1, 8), staff_id=int(who), typed={},
    )  # fmt: skip
    session.add(made)
    session.flush()
    return made


def lay(
    session: Session, plan: Drilling, point: AxisPoint, numbers: Sequence[TypedNumbers]
) -> tuple[list[WorkedLayout], list[LayoutBalance]]:
    of = layout_choices.load(session, plan.ball_id)
    on = layout_choices.stand_on(session, of, point)
    worked = [work_out_layout(each, on) for each in numbers]
    return worked, predict_each(session, of, [(one, on) for one in worked])


def test_each_layout_has_its_own_balance_and_only_the_heavy_spot_differs(
    session: Session, plan: Drilling, marks: BallMarks, who: str
) -> None:
    """Source of the place: the project's geometry contract, 6.1, mark at (−3.685229, 2.108438) of a 27 in ball."""
    point = test_axis_points.add(session, who, plan.ball.bowler_id)
    worked, told = lay(session, plan, point, (CONTRACT, OTHER))
    first, second = (not_none(one.balance) for one in told)
    there = TypedStart(None, Fraction("-3.685229"), Fraction("2.108438"))
    density = ball_kinds.learn_density(session, plan)
    at_contract = not_none(not_none(balances.predict(session, plan, there, density)).balance)
    assert first.ounces == pytest.approx(at_contract.ounces, abs=1e-6)
    # on a scale whose arm is the ball's radius a top weight counts by the components of its place
    moved = [TOP_OZ * (b - a) for a, b in zip(worked[0].laid.mark, worked[1].laid.mark, strict=True)]
    assert [b - a for a, b in zip(first.ounces[:3], second.ounces[:3], strict=True)] == pytest.approx(moved, abs=1e-9)
    aside = unit((*worked[0].laid.axis[:2], 0.0))
    towards = not_none(told[0].towards)
    assert towards.side_oz == pytest.approx(dot(aside, (*first.ounces[:2], 0.0)))
    low, high = not_none(first.find_interval(0))
    assert low < first.ounces.right_oz < high


def test_the_chosen_layout_has_the_balance_of_its_drilling(
    session: Session, plan: Drilling, marks: BallMarks, who: str
) -> None:
    point = test_axis_points.add(session, who, plan.ball.bowler_id)
    choose(session, who, plan.ball_id, point.id)
    _, told = lay(session, plan, point, (CONTRACT,))
    own = not_none(balances.predict(session, plan, density=ball_kinds.learn_density(session, plan)))
    assert not_none(told[0].balance).ounces == pytest.approx(not_none(own.balance).ounces)
    assert not_none(told[0].balance).find_interval(1) == pytest.approx(not_none(own.balance).find_interval(1))
    assert not_none(told[0].towards).side_interval_oz == pytest.approx(not_none(own.towards).side_interval_oz)


def test_what_is_missing_is_told_and_no_balance(session: Session, plan: Drilling, marks: BallMarks, who: str) -> None:
    point = test_axis_points.add(session, who, plan.ball.bowler_id)
    marks.top_weight_oz = None
    _, (told,) = lay(session, plan, point, (CONTRACT,))
    assert (told.balance, "top weight" in told.problem) == (None, True)
    marks.top_weight_oz, marks.pin_centre_in = Fraction(3), None
    _, (told,) = lay(session, plan, point, (CONTRACT,))
    assert (told.balance, "centre-of-gravity mark" in told.problem) == (None, True)
    left = test_axis_points.add(session, who, plan.ball.bowler_id, hand="left")
    _, (told,) = lay(session, plan, left, (CONTRACT,))
    assert (told.balance, "other hand" in told.problem) == (None, True)


@pytest.mark.parametrize("is_chosen", [True, False])
def test_a_ball_weighed_before_drilling_has_a_balance_under_each_layout(
    session: Session, plan: Drilling, marks: BallMarks, who: str, is_chosen: bool
) -> None:
    """Outside reference: scipy's least-squares rotation between the two layouts' pin, mark and their normal."""
    read = (0.375, -1.0, 2.0)
    point = test_axis_points.add(session, who, plan.ball.bowler_id)
    if is_chosen:
        choose(session, who, plan.ball_id, point.id)
    scale = Scale(shop_id=plan.shop_id, label="Bench", readings_oz=[], resolution_oz=Fraction(1, 64))
    session.add(scale)
    session.flush()
    right, finger, top = map(Fraction, read)
    session.add(
        Weighing(
            ball_id=plan.ball_id, drilling_id=plan.id, scale_id=scale.id, stage="before", staff_id=int(who), typed={},
            right_1_oz=right, finger_1_oz=finger, top_1_oz=top, at=now() + timedelta(days=1),
        )
    )  # fmt: skip
    session.flush()
    worked, told = lay(session, plan, point, (CONTRACT, OTHER))
    if not is_chosen:  # nobody knows where the grip was: the ball's marks tell
        assert all("does not count" in one.problem for one in told)
        return
    first, second = (not_none(one.balance).ounces for one in told)
    own = not_none(not_none(balances.predict(session, plan, density=ball_kinds.learn_density(session, plan))).balance)
    assert first == pytest.approx(own.ounces, abs=1e-9)
    before, after = ([one.laid.pin, one.laid.mark, tuple(np.cross(one.laid.pin, one.laid.mark))] for one in worked)
    turn, misfit = Rotation.align_vectors(after, before)
    assert misfit < 1e-9
    moved = turn.apply(read) - np.array(read)
    assert [b - a for a, b in zip(first[:3], second[:3], strict=True)] == pytest.approx(moved, abs=1e-6)
    assert not any(one.problem for one in told)
