"""The static balance of a drilling, from its plan and from what is known of its ball before the first cut.

A ball that was weighed before drilling, all three ways with its grip marked, starts from that reading, and its old
holes belong to it. Every other one starts from its top weight at its heavy spot, which the ball's marks and its layout
place, or at a place that the driller typed. Where neither is known nothing is predicted: what is missing is told.
"""

import math
from dataclasses import asdict, dataclass, replace
from fractions import Fraction

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
from app.calculation.sphere import along_across_in, unit
from app.calculation.units import radius_in
from app.models import AxisPoint, Ball, BallMarks, Drilling, Layout, Scale, Weighing
from app.models.plans import Plan
from app.services import axis_points, ball_marks, heavy_spots, layouts, read_balances, weighed_starts, weighings
from app.services.balance_holes import NamedHole, list_holes
from app.services.heavy_spots import ASSUMED_DOUBT_IN, TYPED_ASSUMED, HeavySpot, Missing
from app.services.work_outs import WorkedOut, work_out

TOP_WEIGHT_U_OZ = 1 / 8  # ASSUMED: standard uncertainty of a top weight as labelled or read, no source
LABEL_U_OZ = 2.0  # ASSUMED: of a weight by its label, no source
WEIGHED_U_OZ = 0.35  # ASSUMED: of a ball's weight on a shop's scale, no source
OUNCES_PER_POUND = 16
AS_WEIGHED = "as weighed"


@dataclass(frozen=True)
class TypedStart:
    """What the driller typed for one look at a balance; a weighing keeps what it was held against."""

    top_oz: Fraction | None = None
    along_in: Fraction | None = None
    across_in: Fraction | None = None

    def write(self) -> dict[str, str] | None:
        """What was typed as exact text, to be kept; None where nothing was."""
        return {name: str(value) for name, value in asdict(self).items() if value is not None} or None


def read_start(of: Weighing) -> TypedStart:
    """Returns what was typed for a weighing."""
    return TypedStart(**{name: Fraction(text) for name, text in (of.counted_from or {}).items()})


NOTHING_TYPED = TypedStart()


@dataclass(frozen=True)
class Start:
    """A ball before its first cut, as far as it is known; `words` say where each number is from.

    `is_weighed`: it was weighed all three ways. `is_weight_weighed`: its weight is a scale's, not a label's. `left_out`
    says of a weighing before drilling why it does not count; `is_carried`: its reading is of another scale.
    """

    weight_oz: float | None
    top_oz: float | None
    spot: HeavySpot | None
    top_u_oz: float
    is_weighed: bool
    is_weight_weighed: bool
    missing: tuple[Missing, ...]
    words: tuple[tuple[str, str], ...]
    left_out: str = ""
    is_carried: bool = False


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
    layout = layout or layouts.find_of(session, drilling)
    start = _find_start(session, drilling, plan, layout, typed, scale)
    if start.weight_oz is None:
        return Prediction(start, start_density(1.0), (), NO_OUNCES, missing=start.missing)
    known = density or start_density(mean_density_oz_in3(start.weight_oz, plan.grip.circumference_in))
    found = _weigh(plan, work_out(plan), start, known, scale)
    hand = plan.grip.hand
    point = layout.axis_point if layout and layout.hand == hand else None
    return _point_to_axis(found, plan, point or axis_points.find_current(session, drilling.ball.bowler_id, hand))


def _weigh(plan: Plan, worked: WorkedOut, start: Start, known: KindDensity, scale: Scale | None) -> Prediction:
    around_in = plan.grip.circumference_in
    arm_in = float(scale.arm_in) if scale and scale.arm_in else None
    named = tuple(list_holes(plan, worked, known.density_oz_in3, has_old=not start.is_weighed))
    weight_oz, top_oz, spot = start.weight_oz or 0.0, start.top_oz, start.spot
    blank = UndrilledBall(around_in, weight_oz, 0.0, 0.0, 0.0, arm_in)
    has_thumb = plan.grip.thumb is not None
    change = NO_OUNCES
    for one in named:
        taken, given = weigh_hole(one.hole, blank)
        change = change.plus(taken, -1.0).plus(given)
    if top_oz is None or spot is None:
        return Prediction(start, known, named, change, has_thumb=has_thumb, missing=start.missing)
    ball = UndrilledBall(around_in, weight_oz, top_oz, spot.along_in, spot.across_in, arm_in)
    arm_u_in = float(scale.arm_u_in or 0) if scale and arm_in else 0.0
    uncertainty = Uncertainty(known.fraction, start.top_u_oz, spot.u_in, arm_u_in, start.is_carried)
    found = balance(ball, [one.hole for one in named], uncertainty)
    return Prediction(start, known, named, change, ball, uncertainty, found, has_thumb=has_thumb)


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


def _find_start(
    session: Session, drilling: Drilling, plan: Plan, layout: Layout | None, typed: TypedStart, scale: Scale | None
) -> Start:
    marks = ball_marks.find_of(session, drilling)
    weight_oz, words = find_weight(drilling.ball, marks)
    is_weighed = words == AS_WEIGHED
    weighed = _find_weighed(session, drilling, plan, layout, scale)
    if isinstance(weighed, Start):
        own_oz = weighed.weight_oz
        weight_oz, words, is_weighed = (own_oz, AS_WEIGHED, True) if own_oz else (weight_oz, words, is_weighed)
        start = replace(weighed, weight_oz=weight_oz, is_weight_weighed=is_weighed)
    else:
        start = _start_from_marks(plan, layout, marks, typed)
        start = replace(start, weight_oz=weight_oz, is_weight_weighed=is_weighed, left_out=weighed)
    if weight_oz is None:
        return replace(start, missing=(Missing("The ball’s weight is not known.", "marks"), *start.missing))
    return replace(start, words=(("Weight", words), *start.words))


def _start_from_marks(plan: Plan, layout: Layout | None, marks: BallMarks | None, typed: TypedStart) -> Start:
    missing, told = [], []
    top_oz = typed.top_oz if typed.top_oz is not None else marks.top_weight_oz if marks else None
    if top_oz is None:
        missing.append(Missing("The top weight is not known: read it off the ball, or weigh it.", "marks"))
    else:
        told.append(("Top weight", "typed here" if typed.top_oz is not None else "from the ball’s marks"))
    spot = _find_spot(plan.grip.circumference_in, layout, marks, typed)
    if isinstance(spot, Missing):
        missing.append(spot)
    else:
        told.append(("Heavy spot", spot.words))
    return Start(
        None, None if top_oz is None else float(top_oz), None if isinstance(spot, Missing) else spot, TOP_WEIGHT_U_OZ,
        False, False, tuple(missing), tuple(told),
    )  # fmt: skip


def find_weight(ball: Ball, marks: BallMarks | None) -> tuple[float | None, str]:
    """Returns the weight before drilling in ounces, and whether a scale, a label or the ball's record says so."""
    if marks and marks.real_weight_oz:
        return float(marks.real_weight_oz), AS_WEIGHED
    if marks and marks.label_weight_oz:
        return float(marks.label_weight_oz), "as on the label"
    pounds = ball.weight_lb
    return (float(pounds * OUNCES_PER_POUND), "as typed for the ball") if pounds else (None, "")


def _find_spot(
    circumference_in: float, layout: Layout | None, marks: BallMarks | None, typed: TypedStart
) -> HeavySpot | Missing:
    if typed.along_in is not None and typed.across_in is not None:
        place = float(typed.along_in), float(typed.across_in)
        return HeavySpot(*place, ASSUMED_DOUBT_IN, "typed here", assumed=(TYPED_ASSUMED,))
    return heavy_spots.find_spot(circumference_in, layout, marks)


def _find_weighed(
    session: Session, drilling: Drilling, plan: Plan, layout: Layout | None, scale: Scale | None
) -> Start | str:
    """The start of a ball weighed before drilling, all three ways, as `scale` would read it.

    In words why its weighing does not count, empty without one.
    """
    before = [of for of in weighings.list_of_drilling(session, drilling.id) if of.stage == "before"]
    read = read_balances.read_weighing(before[0]) if before else None
    if read is None or None in read.ways:
        return ""
    right, finger, top = (value or 0.0 for value in read.ways)
    size, radius = math.hypot(right, finger, top), radius_in(plan.grip.circumference_in)
    if size <= read.u_oz:
        return ""
    day = before[0].at.date().isoformat()
    found = weighed_starts.carry_reading(session, before[0], layout, plan.grip, (right, finger, top))
    if found is None:
        return (
            f"The weighing of {day} does not count: the grip lies elsewhere since, nobody knows how far. Weigh again."
        )
    at, moved_u_in = found
    words = f"weighed all three ways on {day}; old holes were in it"
    words += "; turned to the layout chosen since" if moved_u_in else ""
    u_in = math.hypot(radius * read.u_oz / size, moved_u_in)
    assumed = (heavy_spots.MARKING_ASSUMED,) if moved_u_in else ()
    spot = HeavySpot(*along_across_in(unit(at), radius), u_in, words, assumed=assumed)
    top_oz, u_oz, is_carried = read_balances.carry_reading(size, read.u_oz, before[0].scale, scale, radius)
    told = [("Before drilling", spot.words)]
    if is_carried:
        told.append(("Top weight", f"read on {before[0].scale.label}, told by the arm that counts here"))
    return Start(read.weight_oz, top_oz, spot, u_oz, True, False, (), tuple(told), is_carried=is_carried)
