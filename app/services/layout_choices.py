"""Chooses a layout for a ball: what it is worked out on, what was typed or read back, and which drilling uses it."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from math import hypot
from typing import cast

from sqlalchemy.orm import Session

from app.calculation.ball_marks import find_limit
from app.calculation.cuts import SleeveBore
from app.calculation.errors import CannotBuildError
from app.calculation.grip import Hand, SolvedGrip
from app.calculation.layouts import AxisPoint as Point
from app.calculation.layouts import Layout as Shape
from app.calculation.layouts import radius_of, read_layout
from app.calculation.sphere import place
from app.errors import ConflictError, InvalidError
from app.measures.wording import decimal, exact
from app.models import AxisPoint, Ball, BallMarks, Drilling, FavouriteLayout, Fit, Layout
from app.models.plans import Plan
from app.schemas.layout_readings import LayoutTyped, PlacesForm
from app.schemas.layouts import LayoutForm, LayoutNumbers
from app.services import axis_points, ball_marks, drillings, grips, layouts, shop_limits
from app.services.heavy_spots import ASSUMED_MARK_DOUBT_IN
from app.services.layout_standings import list_stale, pick_of, pick_since
from app.services.layout_work_outs import (
    OnBall,
    TypedNumbers,
    WorkedLayout,
    describe_clearance,
    name_mark,
    read_marks,
    work_out_layout,
)
from app.services.old_places import give_way
from app.services.work_outs import work_out

NUMBERS = ("pin_axis", "axis_line", "drilling")


@dataclass(frozen=True)
class Choices:
    """What a layout of a ball is chosen from: axis points that count, the newest marks, and what is there already."""

    ball: Ball
    points: Sequence[AxisPoint]
    marks: BallMarks | None
    saved: Sequence[Layout]
    favourites: Sequence[FavouriteLayout]
    drilling: Drilling | None
    fits: Sequence[Fit]
    used: Layout | None  # the layout that the drilling in the ball is made on, or would be

    @property
    def version(self) -> int:
        """The number of the newest layout, dropped or not; 0 without one."""
        return self.saved[0].id if self.saved else 0

    @property
    def since(self) -> Layout | None:
        """The layout chosen since, where the drilling in the ball stays on an older one or on none."""
        return pick_since(self.saved, self.drilling, self.used) if self.drilling else None

    @property
    def mark_name(self) -> str:
        """Which mark of this ball the drilling angle is swung to."""
        return name_mark(self.marks)

    @property
    def current(self) -> Layout | None:
        """The layout that counts: the last that was not dropped."""
        return next((of for of in self.saved if not of.dropped_at), None)

    @property
    def drilled(self) -> Drilling | None:
        """The drilling in the ball that is drilled already: a layout chosen now may be the one it was made on."""
        return self.drilling if self.drilling and self.drilling.state in {"drilled", "closed"} else None

    def find_point(self, axis_point_id: int | None = None) -> AxisPoint | None:
        """The axis point that was asked for, else that of the hand in question: of the drilling, the fit or the bowler.

        A point that was taken back counts only for a layout that has it.
        """
        kept = [of.axis_point for of in self.saved]
        asked = next((of for of in (*self.points, *kept) if of.id == axis_point_id), None)
        if asked or axis_point_id:
            return asked
        plan = self.drilling.current_plan if self.drilling else None
        hand = plan.grip.hand if plan else self.fits[0].hand if self.fits else self.ball.bowler.hand
        return next((of for of in self.points if of.hand == hand), self.points[0] if self.points else None)


def load(session: Session, ball_id: int) -> Choices:
    """Raises NotFoundError."""
    ball, in_force, _ = drillings.list_choices(session, ball_id)
    every = axis_points.list_of_bowler(session, ball.bowler_id)
    saved = layouts.list_of_ball(session, ball.id)
    drilling = drillings.pick_in_force(drillings.list_of_balls(session, [ball.id])).get(ball.id)
    return Choices(
        ball,
        [point for point in every if not point.taken_back_at],
        ball_marks.find_newest(session, ball.id),
        saved,
        layouts.list_favourites(session, ball.bowler_id),
        drilling,
        in_force,
        pick_of(session, saved, drilling) if drilling else None,
    )


def stand_on(session: Session, of: Choices, point: AxisPoint, marks: BallMarks | None = None) -> OnBall:
    """What a layout from this axis point is worked out on; `marks` are those it was chosen from, else the newest."""
    plan = of.drilling.current_plan if of.drilling else None
    stale = list_stale(session, of.ball, point, marks, of.marks)
    return replace(_stand(session, of.ball, plan, of.fits, point, marks or of.marks), stale=stale)


def list_stale_in(session: Session, drilling: Drilling) -> tuple[str, ...]:
    """What the layout of a drilling stands on that no longer holds, in words; nothing without one."""
    of = layouts.find_of(session, drilling)
    newest = ball_marks.find_newest(session, drilling.ball_id) if of else None
    return list_stale(session, drilling.ball, of.axis_point, of.marks, newest) if of else ()


def stand_in(session: Session, drilling: Drilling, layout: Layout) -> OnBall:
    """What the layout of a drilling is worked out on: the holes of that drilling, as met so far."""
    plan = drilling.current_plan
    if plan is None:
        return stand_on(session, load(session, drilling.ball_id), layout.axis_point, layout.marks)
    newest = ball_marks.find_newest(session, drilling.ball_id)
    on = _stand(session, drilling.ball, plan, (), layout.axis_point, layout.marks or newest)
    stale = list_stale(session, drilling.ball, layout.axis_point, layout.marks, newest)
    return replace(on, stale=stale)


def _stand(
    session: Session, ball: Ball, plan: Plan | None, fits: Sequence[Fit], point: AxisPoint, marks: BallMarks | None
) -> OnBall:
    solved, bore, words = _find_grip(ball, plan, fits, point.hand)
    limits = shop_limits.load_limits(session)
    doubts = _list_doubts(ball, plan) if solved else ()
    return OnBall(float(ball.around_in), cast(Hand, point.hand), point, marks, solved, bore, limits, words, doubts)


def _list_doubts(ball: Ball, plan: Plan | None) -> tuple[str, ...]:
    """What of the ball and of the plan in it is counted with although nobody knows it."""
    around = ball.circumference_in is None or ball.is_circumference_unasked
    unknown = [f"{words} unknown" for words in plan.unknown if words != "circumference"] if plan else []
    return (*(["the ball’s circumference is ASSUMED"] if around else []), *unknown)


def _find_grip(
    ball: Ball, plan: Plan | None, fits: Sequence[Fit], hand: str
) -> tuple[SolvedGrip | None, SleeveBore | None, str]:
    """The grip of the drilling that is in the ball, else of the fit in force of this hand, and whose it is in words.

    None where it is unknown, or where the ball is drilled for the other hand.
    """
    if plan:
        bore = plan.bore
        cut = SleeveBore(bore.bore_in, bore.forward_in, bore.right_in, bore.depth_in) if bore else None
        is_of_hand = plan.grip.hand == hand
        return (work_out(plan).solved, cut, "of this ball’s drilling") if is_of_hand else (None, None, "")
    fit = next((fit for fit in fits if fit.hand == hand), None)
    if fit is None or not grips.can_solve(fit) or grips.is_sleeve_unknown(fit.system):
        return None, None, ""
    try:
        return grips.solve(fit, fit.system, float(ball.around_in)), None, f"of fit {fit.letter}, in force"
    except InvalidError:
        return None, None, ""


def read_numbers(values: Mapping[str, str]) -> TypedNumbers:
    """Returns the three typed numbers; raises InvalidError at each that is missing or no number."""
    form: LayoutNumbers = LayoutTyped.read({name: values.get(name, "") for name in NUMBERS})
    misfit = values.get("misfit", "")
    misfit_in = float(misfit) if re.fullmatch(r"-?\d{1,2}\.\d{3,4}", misfit, re.ASCII) else 0.0
    return TypedNumbers(form.pin_axis.given, form.axis_line.given, form.drilling.given, misfit_in=misfit_in)


def choose(session: Session, ball_id: int, form: LayoutForm) -> Layout:
    """Adds a layout that can be built; raises InvalidError at the number with which it cannot.

    Raises ConflictError if somebody chose one since the form was shown.
    """
    of = load(session, ball_id)
    if form.version != of.version:
        who = f"{of.saved[0].staff.name} chose a layout" if of.saved else "The layouts changed"
        raise ConflictError(f"{who} while you were typing. Compare it with what you typed, then choose again.")
    point = of.find_point(form.axis_point_id)
    if point is not None:
        numbers = TypedNumbers(form.pin_axis.given, form.axis_line.given, form.drilling.given)
        work_out_layout(numbers, stand_on(session, of, point))
    return layouts.add(session, of.ball, form)


def work_out_saved(session: Session, of: Choices, saved: Layout) -> WorkedLayout:
    """Works out a layout of this ball, from the axis point and the marks it was chosen from."""
    return work_out_layout(saved, stand_on(session, of, saved.axis_point, saved.marks))


@dataclass(frozen=True)
class ReadBack:
    """A layout found at two places: its texts for the form, its numbers, and what its arc between the marks misfits.

    `misfit_in` is that arc less the one of the ball's marks, or less the quarter of the ball that is ASSUMED without.
    """

    texts: dict[str, str]
    shape: Shape
    misfit_in: float
    is_arc_assumed: bool
    is_beyond_doubt: bool


def read_back(of: Choices, form: PlacesForm) -> ReadBack:
    """Returns the layout that the places of pin and mass mark show.

    Raises InvalidError at a place from which nothing can be read, or which contradicts the arc between the ball's marks
    beyond the doubt of both, unless the form says that it was read so.
    """
    point = of.find_point(form.axis_point_id)
    if point is None:
        raise InvalidError.at("axis_point_id", "Choose an axis point of this ball's bowler.")
    around_in = float(of.ball.around_in)
    radius_in = radius_of(around_in)
    pin, mark = (
        place(
            float(give_way(along, along_way, "palm", f"{name}_along_way")),
            float(give_way(across, across_way, "left", f"{name}_across_way")),
            radius_in,
        )
        for name, along, along_way, across, across_way in (
            ("pin", form.pin_along, form.pin_along_way, form.pin_across, form.pin_across_way),
            ("mark", form.mark_along, form.mark_along_way, form.mark_across, form.mark_across_way),
        )
    )
    try:
        hand = cast(Hand, point.hand)
        found = read_layout(around_in, hand, Point(float(point.over_in), float(point.up_in)), pin, mark)
    except CannotBuildError as error:
        field = {"pin": "pin_along", "mark": "mark_along"}.get(error.field, "axis_point_id")
        raise InvalidError.at(field, f"Is that right? {error.message[0].upper()}{error.message[1:]}.") from None
    texts = {
        "pin_axis": decimal(found.pin_axis_in),
        "axis_line": f"{found.axis_line_deg:.2f}",
        "drilling": f"{found.drilling_deg:.2f}",
        "axis_point_id": str(point.id),
    }
    read = _compare_arc(of, texts, found)
    if read.is_beyond_doubt and not form.is_as_read:
        off = f"{decimal(abs(read.misfit_in))} in {'more' if read.misfit_in > 0 else 'less'}"
        message = f"These places are {off} apart than the ball’s marks say, beyond the doubt. Which was read wrong?"
        raise InvalidError.at("mark_along", message)
    return read


def _compare_arc(of: Choices, texts: dict[str, str], found: Shape) -> ReadBack:
    """Beyond doubt is what honest readings show once in a hundred times: one arc, and two places each read by tape."""
    around_in = float(of.ball.around_in)
    own_in = read_marks(around_in, of.marks)[0]
    misfit_in = (found.pin_mark_in or 0.0) - (around_in / 4 if own_in is None else own_in)
    arc_u_in = float((of.marks and of.marks.doubt_in) or ASSUMED_MARK_DOUBT_IN)
    u_in = hypot(arc_u_in, ASSUMED_MARK_DOUBT_IN, ASSUMED_MARK_DOUBT_IN)
    is_beyond = own_in is not None and (misfit_in / u_in) ** 2 > find_limit(1)
    if is_beyond:
        texts = texts | {"misfit": decimal(misfit_in)}
    return ReadBack(texts, found, misfit_in, own_in is None, is_beyond)


def list_texts(of: Layout | FavouriteLayout) -> dict[str, str]:
    """Returns the three numbers of a layout or favourite as typed; an older one has angles of 0 to 360 degrees."""
    stored = {"axis_line": of.axis_line_deg, "drilling": of.drilling_deg}
    signed = {name: exact(angle - 360) for name, angle in stored.items() if angle > 180}
    return {name: of.typed.get(name, "") for name in NUMBERS} | signed


def take_up(session: Session, who: int, drilling: Drilling) -> None:
    """Notes that a drilling uses the layout that it is made on, if there is one."""
    made_on = layouts.find_of(session, drilling)
    if made_on and made_on.drilling_id is None:
        layouts.use_in(session, who, made_on.id, drilling.id)


def list_conflicts(session: Session, drilling: Drilling) -> list[str]:
    """What the holes of a drilling come too near to of its layout, in words; nothing without one that can be built."""
    layout = layouts.find_of(session, drilling)
    if layout is None:
        return []
    try:
        worked = work_out_layout(layout, stand_in(session, drilling, layout))
    except InvalidError:
        return []
    return [describe_clearance(one, worked.mark_name) for one in worked.conflicts]
