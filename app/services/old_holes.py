"""Old holes of a ball: recorded by hand, or left by a drilling made here, and frozen into a plan.

An unknown size, pitch or depth is counted as ASSUMED and named in the plan, so that nothing over it is green. A hole
recorded by mistake stays as a record, and is not counted.
"""

import math
from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from fractions import Fraction

from sqlalchemy import exists, select
from sqlalchemy.orm import Session, joinedload

from app.calculation.errors import CannotBuildError
from app.calculation.grip import place_in
from app.calculation.holes import OldHole as OldHoleShape
from app.calculation.old_holes import GripMark, check_old_hole, see_from_grip, see_mark_from
from app.db import load_one
from app.errors import ConflictError, InvalidError, NotFoundError
from app.measures.wording import exact
from app.models import Ball, Drilling, DrillingStep, OldHole
from app.models.old_holes import PlannedOldHole
from app.models.plans import Plan
from app.schemas.drillings import PluggingForm
from app.schemas.forms import pitch_parts, typed_texts
from app.schemas.old_holes import GripMarkForm, OldHoleForm
from app.services import changes, old_places
from app.services.work_outs import build_solids, work_out

UNRECORDED = "old holes"  # in `Plan.unknown`
_FIELDS = {
    "along_in": "along",
    "across_in": "across",
    "depth_in": "depth",
    "forward_in": "pitch",
    "cut_in": "size",
    "span_in": "span",
}


def list_of_ball(session: Session, ball_id: int) -> Sequence[OldHole]:
    """Returns every old hole recorded of a ball, oldest first, those recorded by mistake too."""
    return session.scalars(select(OldHole).where(OldHole.ball_id == ball_id).order_by(OldHole.id)).all()


_WHOSE = joinedload(OldHole.ball).joinedload(Ball.bowler)


def get_old_hole(session: Session, old_hole_id: int) -> OldHole:
    """Returns an old hole with its ball and bowler; raises NotFoundError."""
    found = load_one(session, OldHole, old_hole_id, _WHOSE)
    if found is None:
        raise NotFoundError("There is no such old hole.")
    return found


def add(session: Session, ball: Ball, form: OldHoleForm) -> OldHole:
    if ball.removed_at:
        raise ConflictError(f"{ball.label} was removed. Put it back first.")
    changes.require_may_edit(session, ball)
    added = OldHole(ball_id=ball.id, **_read_values(session, ball, form))
    _check(added, ball)
    changes.add_record(session, form.who, added, f"{added.name} in {ball.label}", bowler=ball.bowler_id)
    return added


def edit(session: Session, old_hole_id: int, form: OldHoleForm) -> OldHole:
    edited = get_old_hole(session, old_hole_id)
    changes.require_version(session, edited, form.version)
    values = _read_values(session, edited.ball, form, edited.id)
    _check(OldHole(**values), edited.ball)
    changes.revise(session, form.who, edited, values, bowler=edited.ball.bowler_id)
    return edited


def _read_values(session: Session, ball: Ball, form: OldHoleForm, own_id: int = 0) -> dict[str, object]:
    return {
        "digit": form.hole,
        "label": form.label,
        "along_in": old_places.read_along_in(session, ball, own_id, form),
        "across_in": old_places.give_way(form.across, form.across_way, "left", "across_way"),
        "cut_in": form.size.value,
        **pitch_parts(form.pitch),
        "depth_in": form.depth.value,
        "state": form.state,
        "filling": form.filling,
        "filled_by": form.filled_by,
        "filled_on": form.filled_on,
        "drill_from": form.drill_from,
        "typed": typed_texts(form) | old_places.note_span(form),
    }


def _check(hole: OldHole, ball: Ball) -> None:
    try:
        check_old_hole(old_places.describe_shape(hole)[0], float(ball.around_in) / 2 / math.pi)
    except CannotBuildError as error:
        question = f"Is that right? {error.message[0].upper()}{error.message[1:]}. Nothing was saved."
        raise InvalidError.at(_FIELDS.get(error.field, ""), question) from None


def list_texts(hole: OldHole) -> dict[str, str]:
    """Returns an old hole's form as typed; numbers that nobody typed, as a drilling left them, are written exactly."""
    numbers = {"size": hole.cut_in, "depth": hole.depth_in, "along": abs(hole.along_in), "across": abs(hole.across_in)}
    texts = {name: "unknown" if value is None else exact(value) for name, value in numbers.items()}
    if hole.forward_in is None or hole.right_in is None:
        texts["pitch"] = "unknown"
    else:
        ways = "reverse" if hole.forward_in < 0 else "forward", "left" if hole.right_in < 0 else "right"
        texts["pitch"] = f"{exact(abs(hole.forward_in))} {ways[0]}, {exact(abs(hole.right_in))} {ways[1]}"
    days = {"filled_on": hole.filled_on, "drill_from": hole.drill_from}
    return (
        texts
        | {name: day.isoformat() if day else "" for name, day in days.items()}
        | {name: getattr(hole, name) for name in ("label", "state", "filling", "filled_by")}
        | {"hole": hole.digit, "along_way": "palm" if hole.along_in < 0 else "fingers"}
        | {"across_way": "left" if hole.across_in < 0 else "right"}
        | ({"along": ""} if "span" in hole.typed else {})
        | hole.typed
    )


def require_in_ball(session: Session, ball_id: int, around_in: Fraction) -> None:
    """Raises InvalidError at `circumference` if a ball of this size would not hold its old holes."""
    for hole in list_of_ball(session, ball_id):
        if hole.state != "not there" and hole.drilling_id is None:
            try:
                check_old_hole(old_places.describe_shape(hole)[0], float(around_in) / 2 / math.pi)
            except CannotBuildError as error:
                message = f"Is that right? Of the old {hole.name}: {error.message}."
                raise InvalidError.at("circumference", message) from None


# In plans -------------------------------------------------------------------------------------------------------------


def read_grip_mark(form: GripMarkForm) -> GripMark:
    """Returns where a plan's grip centre goes from the mark on the ball; raises InvalidError."""
    along = old_places.give_way(form.mark_along, form.mark_along_way, "palm", "mark_along_way")
    across = old_places.give_way(form.mark_across, form.mark_across_way, "left", "mark_across_way")
    return GripMark(float(along), float(across), float(form.mark_turn.value or 0))


def freeze(holes: Sequence[OldHole], mark: GripMark, radius_in: float) -> tuple[PlannedOldHole, ...]:
    """Returns the holes that count, as a grip at this place sees them; raises InvalidError for a place off the ball."""
    frozen = []
    for hole in holes:
        if hole.state == "not there":
            continue
        shape, unknown = old_places.describe_shape(hole)
        try:
            seen = see_from_grip(shape, mark, radius_in)
            seen.find_axis(
                radius_in
            )  # its size and depth were asked about when it was recorded; a drilling left others
        except CannotBuildError as error:
            raise InvalidError.at("mark_across", f"The old {hole.name}, from this grip: {error.message}.") from None
        is_filled = hole.state == "filled"
        frozen.append(PlannedOldHole(hole.id, hole.name, seen, is_filled, hole.filling, hole.drill_from, unknown))
    return tuple(frozen)


def freeze_of_ball(session: Session, ball: Ball, plan: Plan, form: GripMarkForm) -> Plan:
    """Returns a plan with the old holes of its ball, and where its grip centre goes from the mark.

    Of a drilling made elsewhere and plugged nobody knows where its holes are, unless one was recorded by hand; nor of a
    ball that may be drilled, as one from a sheet.
    """
    elsewhere = exists().where(Drilling.ball_id == Ball.id, Drilling.state == "plugged", Drilling.fit_id.is_(None))
    query = select(OldHole, elsewhere).select_from(Ball).outerjoin(OldHole, OldHole.ball_id == Ball.id)
    rows = session.execute(query.where(Ball.id == ball.id).order_by(OldHole.id)).all()
    holes, mark = [hole for hole, _ in rows if hole], read_grip_mark(form)
    if not holes and (ball.is_perhaps_drilled or any(is_elsewhere for _, is_elsewhere in rows)):
        plan = replace(plan, unknown=(*plan.unknown, UNRECORDED))
    frozen = freeze(holes, mark, float(ball.around_in) / 2 / math.pi)
    return replace(plan, old_holes=frozen, grip_mark=mark)


def have_changed(session: Session, of: Drilling) -> bool:
    """Whether the old holes of a ball are not those that a plan not drilled yet was made with."""
    plan = of.current_plan
    if plan is None or of.state != "planned":
        return False
    mark, radius_in = plan.grip_mark, plan.grip.circumference_in / 2 / math.pi
    try:
        now_there = freeze(list_of_ball(session, of.ball_id), mark, radius_in)
    except InvalidError:
        return True
    there, planned = (
        [(hole.shape, hole.is_filled, hole.unknown) for hole in holes] for holes in (now_there, plan.old_holes)
    )
    return there != planned


def require_cured(session: Session, cut: Sequence[PlannedOldHole]) -> None:
    """Raises ConflictError if a plug that will be cut may not be drilled yet; its day is that of the record now."""
    for hole in cut:
        day = get_old_hole(session, hole.old_hole_id).drill_from
        if day and day > date.today():
            raise ConflictError(
                f"The plug of the {hole.name} may be drilled from {day.isoformat()}: wait. Its maker's instructions "
                "decide; if the day is wrong, change it at the old hole on the ball's page."
            )


# From drillings -------------------------------------------------------------------------------------------------------


def record_plugging(session: Session, of: Drilling, form: PluggingForm) -> list[OldHole]:
    """Adds the holes that a drilling made to the old holes of its ball, filled or left open; none without a plan.

    To be called before the drilling counts as plugged: its state says what was drilled.
    """
    plan = of.current_plan
    if plan is None:
        return []
    steps = select(DrillingStep).where(DrillingStep.drilling_id == of.id, DrillingStep.is_cut)
    cuts = session.scalars(steps).all()
    made = []
    for name, hole in _list_made(plan).items():
        own = [step for step in cuts if step.hole == name]
        is_open = of.state == "planned"  # else it was drilled, perhaps without ticks
        if not any(step.is_done for step in own) and (is_open or (own and all(step.is_skipped for step in own))):
            continue
        hole.ball_id, hole.drilling_id = of.ball_id, of.id
        if getattr(form, f"open_{name}", False):
            hole.state = "open"
        else:
            hole.filling, hole.filled_by = form.filling, form.filled_by
            hole.filled_on, hole.drill_from = form.filled_on or date.today(), form.drill_from
        words = f"{hole.name} in {of.ball.label}, {hole.state}"
        changes.add_record(session, form.who, hole, words, form.reason, bowler=of.ball.bowler_id)
        made.append(hole)
    return made


def _list_made(plan: Plan) -> dict[str, OldHole]:
    """Returns the holes of a plan by name as records, measured from the mark; they are not added to the session.

    An old hole is round: one that was swept to an oval counts as wide as its oval all round, which is the safe side.
    """
    solved = work_out(plan).solved
    holes = {}
    for name, (solid, *_) in build_solids(plan, solved).items():
        axis = solid.axis
        pitch = plan.bore if name == "thumb" and plan.bore else getattr(plan.grip, name)
        shape = OldHoleShape(
            *place_in(axis), solid.bore_in + solid.oval_in, pitch.forward_in, pitch.right_in, solid.depth_in,
            "thumb" if name == "thumb" else "finger",
        )  # fmt: skip
        seen = see_from_grip(shape, see_mark_from(plan.grip_mark, axis.radius_in), axis.radius_in)
        is_unknown = ("bore pitch" if pitch is plan.bore else f"{name} pitch") in plan.unknown
        holes[name] = OldHole(
            digit=seen.digit,
            label="" if name == "thumb" else f"{name} hole",
            along_in=_exact(seen.along_in),
            across_in=_exact(seen.across_in),
            cut_in=_exact(seen.cut_in),
            forward_in=None if is_unknown else _exact(seen.forward_in),
            right_in=None if is_unknown else _exact(seen.right_in),
            depth_in=_exact(seen.depth_in),
            state="filled",
        )
    return holes


def _exact(value: float) -> Fraction:
    return Fraction(round(value * 10**6), 10**6)
