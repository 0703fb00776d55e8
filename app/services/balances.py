"""The static balance of a drilling, from its plan and from what is known of its ball before the first cut.

A ball that was weighed before drilling, all three ways with its grip marked, starts from that reading, and its old
holes belong to it. Every other one starts from its top weight at its heavy spot, which the ball's marks and its layout
place, or at a place that the driller typed. Where neither is known nothing is predicted: what is missing is told.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from sqlalchemy.orm import Session

from app.calculation.balances import (
    NO_OUNCES,
    Balance,
    Ounces,
    TowardsAxis,
    Uncertainty,
    UndrilledBall,
    balance,
    mean_density_oz_in3,
    towards_axis_oz,
    weigh_hole,
)
from app.calculation.ball_densities import KindDensity, start_density
from app.calculation.errors import CannotBuildError
from app.calculation.sphere import Vector, along_across_in, unit
from app.calculation.units import radius_in
from app.models import AxisPoint, Drilling, Layout, Scale, Weighing
from app.models.plans import Plan
from app.services import (
    axis_points,
    ball_marks,
    heavy_spots,
    layout_standings,
    layouts,
    read_balances,
    weighed_starts,
    weighings,
)
from app.services.balance_holes import NamedHole, list_holes, list_old_holes
from app.services.balance_starts import (
    AS_WEIGHED,
    LABEL_U_OZ,
    NOTHING_TYPED,
    WEIGHED_U_OZ,
    Basis,
    Start,
    TypedStart,
    find_weight,
    start_from_marks,
)
from app.services.heavy_spots import HeavySpot, Missing
from app.services.work_outs import work_out

_WAYS = ("right or left", "finger or thumb side", "top or bottom")


@dataclass(frozen=True)
class Prediction:
    """The balance that a plan leads to. `balance` is None while something is missing; `change` is what drilling does.

    `axis_point` is the one that *towards the axis point* is told for; None where nobody found one.
    """

    start: Start
    density: KindDensity
    holes: tuple[NamedHole, ...]
    change: Ounces
    ball: UndrilledBall | None = None
    uncertainty: Uncertainty | None = None
    balance: Balance | None = None
    axis_point: AxisPoint | None = None
    towards: TowardsAxis | None = None
    side: tuple[float, float] | None = None  # of the axis point, seen from above: right and finger, a unit vector
    has_thumb: bool = True
    missing: tuple[Missing, ...] = ()
    layout_doubt: str = ""  # what keeps it from being inside for sure, in words

    @property
    def drilled_oz(self) -> float | None:
        """The weight of the drilled ball; None where that of the ball is not known."""
        return None if self.start.weight_oz is None else self.start.weight_oz + self.change.weight_oz

    @property
    def drilled_u_oz(self) -> float:
        """The standard uncertainty of the drilled ball's weight."""
        doubts = self.balance.doubts if self.balance else None
        own_oz = WEIGHED_U_OZ if self.start.is_weight_weighed else LABEL_U_OZ
        return math.hypot(own_oz, *(doubt.change.weight_oz for doubt in doubts or ()))


def predict(
    session: Session,
    drilling: Drilling,
    typed: TypedStart = NOTHING_TYPED,
    density: KindDensity | None = None,
    scale: Scale | None = None,
    layout: Layout | None = None,
) -> Prediction | None:
    """Returns the balance of a drilling as its steps now stand; None for one without a plan.

    `density` is what is known of that kind of ball; None: only its mean density. Without a calibrated `scale` the arm
    counts as the ball's radius. `layout` is one to be tried; None: that of the drilling or of its ball.
    """
    plan = drilling.current_plan
    if plan is None:
        return None
    of = _load(session, drilling, plan, typed, scale)
    of = replace(of, layout=layout) if layout else of
    start = _find_start(session, of)
    if start.weight_oz is None:
        return Prediction(start, start_density(1.0), (), NO_OUNCES, missing=start.missing)
    known = density or start_density(mean_density_oz_in3(start.weight_oz, plan.grip.circumference_in))
    doubts = layout_standings.list_doubts(session, drilling.ball, of.layout.axis_point) if of.layout else ()
    found = _weigh(of, list_holes(plan, work_out(plan), known.density_oz_in3, not start.is_weighed), start, known)
    hand = plan.grip.hand
    point = of.layout.axis_point if of.layout else None
    return _point_to_axis(
        replace(found, layout_doubt="; ".join(doubts)),
        plan,
        point or axis_points.find_current(session, drilling.ball.bowler_id, hand),
    )


def predict_undrilled(
    session: Session, drilling: Drilling, typed: TypedStart = NOTHING_TYPED, scale: Scale | None = None
) -> Prediction | None:
    """Returns the balance of a ball before its first cut, old holes in it, as its marks and its layout tell it.

    What was weighed before drilling does not count: it is held against this.
    """
    plan = drilling.current_plan
    return None if plan is None else _weigh_undrilled(_load(session, drilling, plan, typed, scale))


def _load(session: Session, drilling: Drilling, plan: Plan, typed: TypedStart, scale: Scale | None) -> Basis:
    layout, marks = layouts.find_of(session, drilling), ball_marks.find_of(session, drilling)
    return Basis(drilling, plan, layout, marks, typed, scale)


def _weigh_undrilled(of: Basis) -> Prediction:
    weight_oz, words = find_weight(of.drilling.ball, of.marks)
    start = replace(start_from_marks(of), weight_oz=weight_oz, is_weight_weighed=words == AS_WEIGHED)
    known = start_density(mean_density_oz_in3(weight_oz or 1.0, of.plan.grip.circumference_in))
    if weight_oz is None:
        return Prediction(start, known, (), NO_OUNCES, missing=start.missing)
    return _weigh(of, list_old_holes(of.plan, known.density_oz_in3), start, known)


def _weigh(of: Basis, named: Sequence[NamedHole], start: Start, known: KindDensity) -> Prediction:
    around_in, scale = of.plan.grip.circumference_in, of.scale
    arm_in = float(scale.arm_in) if scale and scale.arm_in else None
    weight_oz, top_oz, spot = start.weight_oz or 0.0, start.top_oz, start.spot
    blank = UndrilledBall(around_in, weight_oz, 0.0, 0.0, 0.0, arm_in)
    has_thumb = of.plan.grip.thumb is not None
    change = NO_OUNCES
    for one in named:
        taken, given = weigh_hole(one.hole, blank)
        change = change.plus(taken, -1.0).plus(given)
    if top_oz is None or spot is None:
        return Prediction(start, known, tuple(named), change, has_thumb=has_thumb, missing=start.missing)
    ball = UndrilledBall(around_in, weight_oz, top_oz, spot.along_in, spot.across_in, arm_in)
    uncertainty = start.list_doubts(known.fraction, float(scale.arm_u_in or 0) if scale and arm_in else 0.0)
    found = balance(ball, [one.hole for one in named], uncertainty)
    return Prediction(start, known, tuple(named), change, ball, uncertainty, found, has_thumb=has_thumb)


def _point_to_axis(found: Prediction, plan: Plan, point: AxisPoint | None) -> Prediction:
    if point is None or found.balance is None:
        return found
    try:
        at = heavy_spots.place_axis(plan.grip.circumference_in, point)
        towards = towards_axis_oz(found.balance, at)
    except CannotBuildError:
        return found
    across = math.hypot(at[0], at[1])
    side = (at[0] / across, at[1] / across)
    return replace(found, axis_point=point, towards=towards, side=side)


# Before the first cut -------------------------------------------------------------------------------------------------


def _find_start(session: Session, of: Basis) -> Start:
    before = next((one for one in weighings.list_of_drilling(session, of.drilling.id) if one.stage == "before"), None)
    weight_oz, words = find_weight(of.drilling.ball, of.marks)
    found = _find_weighed(session, of, before) if before else ""
    if before and before.weight_oz and (isinstance(found, Start) or not of.plan.old_holes):  # they were in it
        weight_oz, words = float(before.weight_oz), AS_WEIGHED
    start = found if isinstance(found, Start) else replace(start_from_marks(of), left_out=found)
    start = replace(start, weight_oz=weight_oz, is_weight_weighed=words == AS_WEIGHED)
    if weight_oz is None:
        return replace(start, missing=(Missing("The ball’s weight is not known.", "marks"), *start.missing))
    return replace(start, words=(("Weight", words), *start.words))


def _find_weighed(session: Session, of: Basis, before: Weighing) -> Start | str:
    """The start of a ball weighed before drilling, as `scale` would read it; in words why its weighing does not count.

    A way that was not read keeps what marks and layout tell of it.
    """
    read, radius = read_balances.read_weighing(before), radius_in(of.plan.grip.circumference_in)
    if all(way is None for way in read.ways):
        return ""
    told = read_balances.carry_each(read, before.scale, of.scale, radius)
    unread = [words for words, way in zip(_WAYS, read.ways, strict=True) if way is None]
    if unread:
        told = weighed_starts.fill_unread(told, _weigh_undrilled(of).balance)
    day = f"The weighing of {before.at.date().isoformat()} does not count"
    if None in told:
        return f"{day}: {' and '.join(unread)} not read, and marks and layout do not tell it."
    (right, u_right), (finger, u_finger), (top, u_top) = (one for one in told if one)
    found = weighed_starts.carry_reading(session, before, of.layout, of.plan.grip, (right, finger, top))
    if found is None or (unread and found[1]):
        return f"{day}: the grip lies elsewhere since, nobody knows how far. Weigh again."
    return _start_weighed(of, before, found, (u_right, u_finger, u_top))


def _start_weighed(
    of: Basis, before: Weighing, found: tuple[Vector, float], each_u_oz: tuple[float, float, float]
) -> Start:
    (at, moved_u_in), worst_oz = found, max(each_u_oz)
    size, radius = math.hypot(*at), radius_in(of.plan.grip.circumference_in)
    ways = [
        words for words, way in zip(_WAYS, read_balances.read_weighing(before).ways, strict=True) if way is not None
    ]
    words = f"weighed {'all three ways' if len(ways) == len(_WAYS) else ' and '.join(ways)} on "
    words += f"{before.at.date().isoformat()}; old holes were in it"
    words += "; turned to the layout chosen since" if moved_u_in else ""
    words += "; another way as marks and layout tell it" if len(ways) < len(_WAYS) else ""
    place = along_across_in(unit(at), radius) if size else (0.0, 0.0)
    u_in = min(math.hypot(radius * worst_oz / size, moved_u_in), radius) if size else radius
    spot = HeavySpot(*place, u_in, words, assumed=(heavy_spots.MARKING_ASSUMED,) if moved_u_in else ())
    told = [("Before drilling", spot.words)]
    is_carried = read_balances.is_by_two_arms(before.scale, of.scale)
    if is_carried:
        told.append(("Top weight", f"read on {before.scale.label}, told by the arm that counts here"))
    each = (worst_oz,) * 3 if moved_u_in else each_u_oz
    arm_u_oz = size * read_balances.find_arm_share(before.scale, of.scale)
    return Start(
        None, size, spot, math.hypot(worst_oz, arm_u_oz), True, False, (), tuple(told), is_carried=is_carried,
        each_u_oz=each, moved_u_in=moved_u_in, arm_u_oz=arm_u_oz,
    )  # fmt: skip
