"""The static balance that each of several layouts of one ball leads to, with the holes that are planned in it."""

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from sqlalchemy.orm import Session

from app.calculation.balances import Balance, TowardsAxis
from app.models import Layout
from app.services import balances, ball_kinds, drillings, weighed_balances
from app.services.balances import Prediction
from app.services.layout_choices import Choices
from app.services.layout_work_outs import OnBall, WorkedLayout


@dataclass(frozen=True)
class LayoutBalance:
    """What a layout leads to, or in `problem` why nobody can say; `is_side_assumed` as of its heavy spot."""

    balance: Balance | None = None
    towards: TowardsAxis | None = None
    is_side_assumed: bool = False
    problem: str = ""


def predict_each(session: Session, of: Choices, sides: Sequence[tuple[WorkedLayout, OnBall]]) -> list[LayoutBalance]:
    """Returns the balance of each layout as its drilling's page would predict it were that layout chosen.

    Only where the heavy spot and the axis point lie differs: the holes, the densities and the scale are the same. What
    was weighed before drilling is turned with the ball's marks from the layout that it had then.
    """
    plan = of.drilling.current_plan if of.drilling else None
    if of.drilling is None or plan is None:
        return [LayoutBalance(problem="No drilling of this ball is planned, so no hole is known.")] * len(sides)
    drilling = drillings.get_drilling(session, of.drilling.id)
    density, scale = ball_kinds.learn_density(session, drilling), weighed_balances.find_scale(session)
    told = []
    for worked, on in sides:
        if on.hand != plan.grip.hand:
            told.append(LayoutBalance(problem="The ball is planned for the other hand."))
        else:
            layout = _find_layout(of, worked, on)
            told.append(_tell(balances.predict(session, drilling, density=density, scale=scale, layout=layout)))
    return told


def _find_layout(of: Choices, worked: WorkedLayout, on: OnBall) -> Layout:
    """The saved layout of these numbers, which a weighing may have been made under, else one that is not saved."""
    laid = worked.laid.layout
    numbers = tuple(map(Fraction, (laid.pin_axis_in, laid.axis_line_deg, laid.drilling_deg)))
    for saved in of.saved:
        own = (saved.pin_axis_in, saved.axis_line_deg, saved.drilling_deg)
        if saved.axis_point_id == on.point.id and own == numbers:
            return saved
    names = ("pin_axis_in", "axis_line_deg", "drilling_deg")
    return Layout(hand=on.hand, axis_point=on.point, marks=of.marks, **dict(zip(names, numbers, strict=True)))


def _tell(found: Prediction | None) -> LayoutBalance:
    if found is None or found.balance is None:
        missing = found.missing if found else ()
        return LayoutBalance(problem=" ".join(one.words for one in missing))
    spot = found.start.spot
    is_side_assumed = spot is not None and spot.is_side_assumed
    return LayoutBalance(found.balance, found.towards, is_side_assumed, found.start.left_out)
