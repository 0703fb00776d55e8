"""Plans drillings: inputs are chosen, worked out once, and frozen with the drilling."""

from dataclasses import replace
from fractions import Fraction

from sqlalchemy.orm import Session

from app.calculation.errors import CannotBuildError
from app.errors import ConflictError, FieldError, InvalidError
from app.measures.lengths import is_unknown
from app.models import Ball, Drilling, DrillingStep, Fit, InsertSystem
from app.models.plans import Plan, PlannedBore, PlannedInner, PlannedLimit, PlannedLimits, PlannedSystem
from app.schemas.drillings import PlanChoices, PlanForm
from app.schemas.forms import typed_texts
from app.services import (
    changes,
    checks,
    depths,
    drillings,
    finger_depths,
    fits,
    grips,
    old_holes,
    owned_inners,
    routes,
    shop_limits,
    shops,
    systems,
    target_depths,
    ticket_links,
)
from app.services.known_depths import ShopDepth
from app.services.shop_limits import SetLimit
from app.services.work_outs import ASSUMED_THUMB_DEPTH_IN, WorkedOut, calculate_wall, work_out


def choose_inputs(
    fit: Fit,
    ball: Ball,
    system: InsertSystem | None,
    form: PlanChoices,
    ours: ShopDepth | None,
    limits: dict[str, SetLimit],
) -> Plan:
    """Returns the inputs of a drilling, to be frozen with it; raises InvalidError if the fit cannot be built so."""
    _check_known(fit)
    if fit.is_thumbless:
        _refuse_thumb_choices(system, form)
    target = target_depths.choose_target_depth(system, ours) if system else None
    if system and target is None:
        raise InvalidError.at("system_id", "Nobody knows how deep to bore for this: give its sleeve length.")
    thumb = fit.hole("thumb")
    pitch = (float(thumb.forward_in or 0), float(thumb.right_in or 0))
    bore_pitch = pitch if form.bore_runs == "like_thumb" else (0.0, 0.0)
    size = None if form.inner_id else form.inner.value
    sleeve_in, depth_in = grips.get_sleeve_od_in(system), target.depth_in if target else ASSUMED_THUMB_DEPTH_IN
    grip = grips.build_grip(fit, float(ball.around_in), sleeve_in, depth_in, bore_pitch if system else None)
    grip, kept = grips.keep_finished(fit, grip)
    return Plan(
        grip=grip,
        kept=kept,
        fit=fit.letter,
        bore=_plan_bore(system, target, bore_pitch) if system and target else None,
        notch_deg=system.notch_deg if system and form.notch.state == "absent" else form.notch.value,
        cusp_limit_in=float(limits["cusp"].value_in),
        limits=_freeze_limits(limits),
        system=_freeze_system(system) if system else None,
        safe_depth_in=None if ball.safe_depth_in is None else float(ball.safe_depth_in),
        point_deg=float(form.point),
        assumed_depths=tuple(digit for digit in fit.fingers if not fit.hole(digit).depth_in),
        inner_kind=form.inner_kind,
        unknown=_list_unknown(ball, system),
        inserts={hole.digit: hole.system.label for hole in fit.holes if hole.system and hole.digit in fit.fingers},
        inner=_choose_inner(system, size, thumb.hole_in, thumb.oval_in, limits["least_wall"].value_in),
    )


def _list_unknown(ball: Ball, system: InsertSystem | None) -> tuple[str, ...]:
    """Returns what is unknown of a ball and its hardware, and decides a check."""
    is_depth_unknown = ball.safe_depth_in is None and is_unknown((ball.typed or {}).get("safe_depth", ""))
    unknown = {
        "circumference": ball.circumference_in is None,
        "safe depth": is_depth_unknown,
        "sleeve": grips.is_sleeve_unknown(system),
    }
    return tuple(words for words, is_gap in unknown.items() if is_gap)


def _check_known(fit: Fit) -> None:
    """Raises InvalidError for a fit that is not in force, or that lacks something a grip needs."""
    if fit.state != "in force":
        raise InvalidError.at("fit_id", f"Fit {fit.letter} is {fit.state}. Drill from a fit in force.")
    if not grips.can_solve(fit):
        unknown = ", ".join(grips.list_unknown(fit))
        raise InvalidError.at("fit_id", f"Unknown in fit {fit.letter}: {unknown}. Measure and revise it first.")


def _refuse_thumb_choices(system: InsertSystem | None, form: PlanChoices) -> None:
    """Raises InvalidError for a choice that needs a thumb hole."""
    chosen = {
        "system_id": system is not None,
        "inner_id": bool(form.inner_id),
        "inner": form.inner.value is not None,
        "notch": form.notch.state != "absent",
    }
    why = "This fit has no thumb hole, so no bore, no inner and no notch: leave this empty."
    wrong = {field: FieldError(why) for field, is_chosen in chosen.items() if is_chosen}
    if wrong:
        raise InvalidError(why, wrong)


def _freeze_limits(limits: dict[str, SetLimit]) -> PlannedLimits:
    def freeze(name: str) -> PlannedLimit:
        return PlannedLimit(float(limits[name].value_in), limits[name].is_assumed)

    return PlannedLimits(
        least_wall=freeze("least_wall"),
        least_web=freeze("least_web"),
        least_bridge=freeze("least_bridge"),
        least_surface=freeze("least_surface"),
        safe_depth=freeze("safe_depth"),
    )


def _freeze_system(system: InsertSystem) -> PlannedSystem:
    return PlannedSystem(
        label=system.label,
        kind=routes.choose_kind(system),
        inner_ods=tuple(sorted(float(Fraction(text)) for text in system.inner_ods)),
        lock_depth_in=None if system.lock_depth_in is None else float(system.lock_depth_in),
        inner_length_in=None if system.inner_length_in is None else float(system.inner_length_in),
        stock=dict(system.stock),
    )


def _plan_bore(system: InsertSystem, target: target_depths.TargetDepth, pitch: tuple[float, float]) -> PlannedBore:
    return PlannedBore(
        bore_in=float(system.bore_in or depths.USUAL_BORE_IN),
        depth_in=target.depth_in,
        depth_half_width_in=target.half_width_in,
        depth_words=target.words,
        is_depth_assumed=target.is_assumed,
        forward_in=pitch[0],
        right_in=pitch[1],
    )


def _choose_inner(
    system: InsertSystem | None, asked: Fraction | None, hole: Fraction | None, oval: Fraction | None, wall: Fraction
) -> PlannedInner | None:
    """Returns the chosen inner, else the smallest that leaves the least wall, else the widest; None without inners."""
    if system is None or not system.inner_ods:
        return None
    sizes = sorted(Fraction(text) for text in system.inner_ods)
    wanted = (hole or Fraction(0)) + (oval or Fraction(0)) + 2 * wall
    chosen = next((s for s in sizes if s >= wanted), sizes[-1])
    if asked:
        if asked not in sizes:
            raise InvalidError.at("inner", "The hardware does not offer an inner of that size.")
        chosen = asked
    length = system.inner_length_in or system.lock_depth_in or system.sleeve_length_in or Fraction(2)
    return PlannedInner(float(chosen), float(length))


def _widen_inner(plan: Plan) -> Plan:
    """Returns the plan with the smallest inner that leaves the least wall where its bore runs unlike the hole."""
    if plan.inner and plan.system and plan.limits:
        for outside_in in plan.system.inner_ods:
            left = calculate_wall(plan, outside_in)
            if left and left.least_wall_in >= plan.limits.least_wall.value_in - 1e-9:
                return replace(plan, inner=replace(plan.inner, outside_in=outside_in))
    return plan


def preview(session: Session, ball: Ball, form: PlanChoices) -> tuple[Plan, WorkedOut]:
    """Returns the plan that these choices make, worked out; raises InvalidError. Stores nothing."""
    fit = fits.get_fit(session, form.fit_id)
    if fit.bowler_id != ball.bowler_id:
        raise InvalidError.at("fit_id", "That fit belongs to another bowler.")
    system = systems.get_system(session, form.system_id) if form.system_id else None
    ours = shops.require_our_shop(session)
    known = depths.load_shop_depths(session, [ours.id])
    depth = known.get((ours.id, system.id)) if system else None
    limits = shop_limits.load_limits(session)
    plan = choose_inputs(fit, ball, system, form, depth, limits)
    plan = old_holes.freeze_of_ball(session, ball, plan, form)
    if form.inner_id:
        plan = owned_inners.plan_for_owned(session, plan, fit, ball, form)
    elif form.inner.value is None:
        plan = _widen_inner(plan)
    try:
        plan = finger_depths.choose_finger_depth(plan, form.finger_depth.value, float(limits["finger_depth"].value_in))
        return plan, work_out(plan)
    except CannotBuildError as error:
        message = error.message[0].upper() + error.message[1:] + "."
        raise InvalidError.at("fit_id", f"This fit cannot be drilled in this ball. {message}") from None


def plan_drilling(session: Session, ball: Ball, form: PlanForm) -> Drilling:
    """Adds a drilling with its frozen plan and steps; raises ConflictError for a retired or drilled ball."""
    if ball.removed_at:
        raise ConflictError(f"{ball.label} was removed. Put it back first.")
    if ball.retired_at:
        raise ConflictError(f"{ball.label} is retired. Take it back into use first.")
    current = drillings.pick_in_force(drillings.list_of_balls(session, [ball.id])).get(ball.id)
    if current:
        raise ConflictError(f"{ball.label} is {current.state} already. Plug it, or give that plan up, before another.")
    frozen, worked = preview(session, ball, form)
    checks.require_reason(frozen, worked, form.reason)
    tolerance = shop_limits.load_limits(session)["tolerance"]
    started = Drilling(
        ball_id=ball.id,
        fit_id=form.fit_id,
        system_id=form.system_id,
        inner_id=form.inner_id,
        shop_id=shops.require_our_shop(session).id,
        state="planned",
        plan=replace(frozen, typed=typed_texts(form)),
        tolerance_in=tolerance.value_in,
        tolerance_source=tolerance.source,
        staff_id=form.who,
        notes=form.notes,
        planned_reason=form.reason,
    )
    changes.add_record(
        session, form.who, started, f"{ball.label} from fit {frozen.fit}", form.reason, bowler=ball.bowler_id
    )
    ticket_links.take_up(session, form.who, started)
    system = systems.get_system(session, form.system_id) if form.system_id else None
    for position, step in enumerate(routes.freeze_steps(frozen, worked, routes.get_route(system)), 1):
        session.add(DrillingStep(drilling_id=started.id, position=position, **vars(step)))
    return started
