"""Drillings: loading, marking as drilled, plugging."""

from collections.abc import Iterable, Sequence
from fractions import Fraction
from typing import Any

from sqlalchemy import bindparam, select
from sqlalchemy.orm import Session, joinedload, selectinload
from sqlalchemy.sql.base import ExecutableOption

from app.calculation.bores import Bore as BoreShape
from app.calculation.bores import check_bore
from app.calculation.errors import CannotBuildError
from app.closed_sets import RIM_PLACES
from app.db import load_one
from app.errors import ConflictError, InvalidError, NotFoundError
from app.models import Ball, BenchStop, Bore, Bowler, Drilling, DrillingStep, Fit, InsertSystem, Measurement, now
from app.models.plans import Plan, PlannedBore
from app.schemas.drillings import DrilledForm, PluggingForm
from app.schemas.forms import typed_texts
from app.services import balls, changes, checks, depths, fits, inners, old_holes, old_walls, part_uses, systems
from app.services.work_outs import work_out

OPEN_STATES = ("planned", "drilled")
ENDED_STATES = ("plugged", "not drilled")


_WHOSE = (
    joinedload(Drilling.ball).joinedload(Ball.bowler).joinedload(Bowler.home_shop),
    joinedload(Drilling.fit),
    joinedload(Drilling.system),
)


def load(session: Session, drilling_id: int, *more: ExecutableOption) -> Drilling:
    """Returns a drilling with its ball, bowler, fit and system, and `more`; raises NotFoundError."""
    found = load_one(session, Drilling, drilling_id, *_WHOSE, *more)
    if found is None:
        raise NotFoundError("There is no such drilling.")
    return found


AS_BUILT = (
    joinedload(Drilling.shop),
    joinedload(Drilling.bore).joinedload(Bore.shop),
    joinedload(Drilling.staff),
    selectinload(Drilling.measurements).joinedload(Measurement.staff),
)


def get_drilling(session: Session, drilling_id: int) -> Drilling:
    """Returns a drilling as built, with its measurements, but without its steps; raises NotFoundError."""
    return load(session, drilling_id, *AS_BUILT)


_OF_BALLS = (
    select(Drilling)
    .where(Drilling.ball_id.in_(bindparam("ball_ids", expanding=True)))
    .options(
        joinedload(Drilling.fit),
        joinedload(Drilling.system),
        joinedload(Drilling.shop),
        joinedload(Drilling.bore).joinedload(Bore.shop),
        selectinload(Drilling.measurements),
    )
    .order_by(Drilling.id.desc())
)


def list_of_balls(session: Session, ball_ids: Iterable[int]) -> Sequence[Drilling]:
    """Returns every drilling of these balls, newest first, with fit, system, bore and measurements."""
    ids = sorted(set(ball_ids))
    return session.scalars(_OF_BALLS, {"ball_ids": ids}).all() if ids else []


def list_of_bowler(session: Session, bowler_id: int, *more: ExecutableOption) -> Sequence[Drilling]:
    """Returns every drilling of a bowler's balls but plans called off, newest first, each with its ball and `more`."""
    query = select(Drilling).join(Ball).where(Ball.bowler_id == bowler_id, Drilling.state != "not drilled")
    query = query.options(joinedload(Drilling.ball), *more)
    return session.scalars(query.order_by(Drilling.id.desc())).all()


def get_plan(of: Drilling) -> Plan:
    """Returns the plan of a drilling; raises ConflictError if it was made elsewhere."""
    if of.plan is None:
        raise ConflictError("This drilling was made elsewhere: there is no plan.")
    return of.plan


def get_current_plan(of: Drilling) -> Plan:
    """Returns the plan as met at the bench, else as specified; raises ConflictError if it was made elsewhere."""
    return of.as_met or get_plan(of)


def mark_drilled(session: Session, drilling_id: int, form: DrilledForm) -> Drilling:
    """Records the bore as built: depth with its datum, and notch; raises InvalidError or ConflictError.

    What a skipped step would have made is unknown, or not there: no inner is recorded that nobody drilled, and no part
    is taken off the shelf.
    """
    drilled = get_for_change(session, drilling_id, form.version, "planned")
    plan = get_current_plan(drilled)
    checks.require_reason(plan, work_out(plan), form.reason or find_reason(session, drilled))
    skipped = list_skipped(session, drilling_id)
    if drilled.system_id and plan.bore:
        bore = _make_bore(drilled, plan, plan.bore, form, skipped)
        bowler_id = drilled.ball.bowler_id
        changes.add_record(session, form.who, bore, f"bore in {drilled.ball.label}", bowler=bowler_id)
        drilled.bore_id = bore.id
        if not skipped & {"lock_in", "drill_inner"}:
            drilled.inner_id = inners.record_in_drilling(session, form.who, drilled, plan, bore)
    part_uses.use_for(session, form.who, drilled, plan, skipped)
    change_state(session, form.who, drilled, {"state": "drilled", "drilled_at": now()}, form.reason)
    return drilled


def find_reason(session: Session, of: Drilling) -> str:
    """Returns why a plan with a failing check is drilled all the same: as kept, read back, or decided at a stop."""
    decided = (BenchStop.drilling_id == of.id, BenchStop.decision.in_(("carried_on", "shimmed", "planned")))
    known = of.confirmed_reason or of.planned_reason
    return known or session.scalars(select(BenchStop.reason).where(*decided, BenchStop.reason != "")).first() or ""


def list_skipped(session: Session, drilling_id: int) -> set[str]:
    """Returns the actions of the steps that were skipped."""
    skipped = (DrillingStep.drilling_id == drilling_id, DrillingStep.skip_reason != "")
    return set(session.scalars(select(DrillingStep.action).where(*skipped)))


def _make_bore(drilled: Drilling, plan: Plan, planned: PlannedBore, form: DrilledForm, skipped: set[str]) -> Bore:
    depth = form.depth.value
    if depth is None and form.depth.state != "unknown":
        raise InvalidError.at("depth", "How deep did it come out? Write unknown if it was not measured.")
    datum = depths.reconcile_datum(depth.datum, form.datum) if depth else "unknown"
    notch = form.notch.value
    if notch is None and form.notch.state != "unknown" and "notch" not in skipped:
        notch = plan.notch_deg
    bore = make_planned_bore(drilled, plan, planned, notch)
    if "bore" in skipped or "bore pitch" in plan.unknown:
        bore.forward_in = bore.right_in = None
    set_depth(bore, depth.depth_in if depth else None, datum, planned)
    bore.typed = {name: text for name, text in typed_texts(form).items() if name not in RIM_PLACES}
    try:
        check_bore(to_bore_shape(bore, Fraction(1)))
    except CannotBuildError as error:
        raise InvalidError.at("depth", error.message) from None
    return bore


def set_depth(bore: Bore, depth_in: Fraction | None, datum: str, planned: PlannedBore) -> None:
    """Sets the depth of the seat: that of the floor as read, less what was put under the sleeve."""
    shim_in = Fraction(planned.shim_in).limit_denominator(10**6)
    bore.shim_in = shim_in or None
    bore.depth_in, bore.datum = None if depth_in is None else depth_in - shim_in, datum


def make_planned_bore(of: Drilling, plan: Plan, planned: PlannedBore, notch_deg: Fraction | None) -> Bore:
    """Returns a bore as planned, its depth unknown; it is not added to the session."""
    return Bore(
        system_id=of.system_id,
        shop_id=of.shop_id,
        circumference_in=of.ball.circumference_in,
        bore_in=Fraction(planned.bore_in),
        datum="unknown",
        forward_in=Fraction(planned.forward_in).limit_denominator(10**6),
        right_in=Fraction(planned.right_in).limit_denominator(10**6),
        notch_deg=notch_deg,
        hand=plan.grip.hand,
    )


def to_bore_shape(bore: Bore, depth_in: Fraction | float) -> BoreShape:
    """Returns a recorded bore for the calculation, at a chosen depth; straight if its pitch is unknown."""
    forward, right = float(bore.forward_in or 0), float(bore.right_in or 0)
    return BoreShape(float(bore.around_in), float(bore.bore_in), float(depth_in), forward, right)


def get_for_change(session: Session, drilling_id: int, version: int, *states: str) -> Drilling:
    """Returns a drilling in one of these states; raises ConflictError for another state or version."""
    found = get_drilling(session, drilling_id)
    changes.require_version(session, found, version)
    if found.state not in states:
        raise ConflictError(f"This drilling is {found.state}: that step is past or not yet due.")
    return found


def change_state(session: Session, who: int, moved: Drilling, values: dict[str, Any], why: str = "") -> None:
    changes.revise(session, who, moved, values, why, bowler=moved.ball.bowler_id)


def plug(session: Session, drilling_id: int, form: PluggingForm) -> Drilling:
    """Marks a drilling as plugged, so that the ball can be drilled again; what it drilled are old holes then.

    Raises InvalidError for a filling of holes that nobody said were drilled: they would be nowhere afterwards.
    """
    of = get_for_change(session, drilling_id, form.version, "planned", "drilled", "closed")
    made = old_holes.record_plugging(session, of, form)
    if of.current_plan and not made and (form.filling or form.filled_by or form.drill_from):
        raise InvalidError.at(
            "filling",
            "No hole of this plan is ticked as drilled, so there is none to fill. Tick the cuts at the bench, or say "
            "that all holes are drilled; empty this if nothing was cut.",
        )
    if of.state == "planned":
        part_uses.use_until_plugged(session, form.who, of)
    change_state(session, form.who, of, {"state": "plugged", "plugged_at": now()}, form.reason)
    return of


def require_cured(session: Session, of: Drilling) -> None:
    """Raises ConflictError if a plug that the plan cuts into may not be drilled yet."""
    plugs = old_walls.list_plugs_cut(work_out(get_current_plan(of)).old_walls)
    old_holes.require_cured(session, [hole for cut in plugs.values() for hole in cut])


def list_choices(session: Session, ball_id: int) -> tuple[Ball, Sequence[Fit], Sequence[InsertSystem]]:
    """Returns the choices of a plan for this ball: the ball, the bowler's fits in force, the thumb systems."""
    chosen = balls.get_ball(session, ball_id)
    in_force = [f for f in fits.list_of_bowler(session, chosen.bowler_id) if f.state == "in force"]
    return chosen, in_force, systems.list_systems(session, "thumb")


def pick_in_force(drilled: Iterable[Drilling]) -> dict[int, Drilling]:
    """Returns the current drilling by ball: the newest that is neither plugged nor called off."""
    current: dict[int, Drilling] = {}
    for found in sorted((d for d in drilled if d.state not in ENDED_STATES), key=lambda d: d.id):
        current[found.ball_id] = found
    return current
