"""The static balance that each of several layouts of one ball leads to, with the holes that are planned in it."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from sqlalchemy.orm import Session

from app.calculation.balances import Balance, TowardsAxis, balance, towards_axis_oz
from app.calculation.errors import CannotBuildError
from app.models import BallMarks, Layout
from app.services import balances, ball_kinds, drillings, heavy_spots, weighed_balances
from app.services.balances import TypedStart
from app.services.heavy_spots import HeavySpot, Missing
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
    """Returns the balance of each layout as its drilling's page would predict it.

    Only where the heavy spot and the axis point lie differs: the holes, the densities and the scale are the same. A
    ball that was weighed before drilling was weighed about the grip of one layout, so it is told for none.
    """
    plan = of.drilling.current_plan if of.drilling else None
    if of.drilling is None or plan is None:
        return [LayoutBalance(problem="No drilling of this ball is planned, so no hole is known.")] * len(sides)
    drilling = drillings.get_drilling(session, of.drilling.id)
    density, scale = ball_kinds.learn_density(session, drilling), weighed_balances.find_scale(session)
    told = []
    for worked, on in sides:
        spot = _find_spot(worked, on, of.marks)
        if on.hand != plan.grip.hand:
            told.append(LayoutBalance(problem="The ball is planned for the other hand."))
        elif isinstance(spot, Missing):
            told.append(LayoutBalance(problem=spot.words))
        else:
            typed = TypedStart(None, Fraction(spot.along_in), Fraction(spot.across_in))
            told.append(_lay(balances.predict(session, drilling, typed, density, scale), spot, worked))
    return told


def _find_spot(worked: WorkedLayout, on: OnBall, marks: BallMarks | None) -> HeavySpot | Missing:
    laid = worked.laid
    numbers = (laid.layout.pin_axis_in, laid.layout.axis_line_deg, laid.layout.drilling_deg)
    names = ("pin_axis_in", "axis_line_deg", "drilling_deg")
    unsaved = Layout(hand=on.hand, axis_point=on.point, **dict(zip(names, map(Fraction, numbers), strict=True)))
    return heavy_spots.find_spot(laid.circumference_in, unsaved, marks)


def _lay(found: balances.Prediction | None, spot: HeavySpot, worked: WorkedLayout) -> LayoutBalance:
    """A prediction with a typed heavy spot, with the doubt of the real one and towards the layout's own axis point."""
    if found is None or found.ball is None or found.uncertainty is None:
        missing = found.missing if found else ()
        return LayoutBalance(problem=" ".join(one.words for one in missing))
    if found.start.is_weighed:
        return LayoutBalance(problem="The ball was weighed before drilling, about the grip of one layout.")
    holes = [one.hole for one in found.holes]
    balanced = balance(found.ball, holes, replace(found.uncertainty, heavy_spot_in=spot.u_in))
    try:
        towards = towards_axis_oz(balanced, worked.laid.axis)
    except CannotBuildError:
        towards = None
    return LayoutBalance(balanced, towards, spot.is_side_assumed)
