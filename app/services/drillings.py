"""One drilling of one ball: worked out, drilled, measured, closed, plugged."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from fractions import Fraction
from statistics import fmean
from typing import Any

from sqlalchemy import bindparam, select
from sqlalchemy.orm import Session, joinedload, selectinload
from sqlalchemy.sql.base import ExecutableOption

from app.calculation.bores import Bore as BoreShape
from app.calculation.bores import check_bore
from app.calculation.errors import CannotBuildError
from app.calculation.grip import SolvedGrip
from app.calculation.tolerances import Deviation, RepeatedReading, deviation, repeated_reading
from app.db import one
from app.errors import ConflictError, InvalidError, NotFoundError
from app.measures.divisions import division_in
from app.measures.wording import in_64ths
from app.models import Ball, Bore, Bowler, Drilling, DrillingStep, Fit, InsertSystem, Measurement, now
from app.schemas.drillings import ClosingForm, DrilledForm, FindingForm, FinishForm, PlanForm, PluggingForm
from app.schemas.forms import typed_texts
from app.services import balls, changes, depths, fits, routes, shop_limits, shops, systems
from app.services.checks import LIMIT_NAMES
from app.services.shop_limits import SetLimit
from app.services.work_outs import ASSUMED_THUMB_DEPTH_IN, WorkedOut, remeasure_once, work_out

OPEN_STATES = ("planned", "drilled")


def loaded(session: Session, drilling_id: int, *more: ExecutableOption) -> Drilling:
    """A drilling with its ball, bowler, fit and system, and `more`."""
    found = one(
        session,
        Drilling,
        drilling_id,
        joinedload(Drilling.ball).joinedload(Ball.bowler).joinedload(Bowler.home_shop),
        joinedload(Drilling.fit),
        joinedload(Drilling.system),
        *more,
    )
    if found is None:
        raise NotFoundError("There is no such drilling.")
    return found


def drilling(session: Session, drilling_id: int) -> Drilling:
    """A drilling with all that its page shows."""
    return loaded(
        session,
        drilling_id,
        joinedload(Drilling.shop),
        joinedload(Drilling.bore).joinedload(Bore.shop),
        joinedload(Drilling.staff),
        selectinload(Drilling.measurements).joinedload(Measurement.staff),
    )


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


def of_balls(session: Session, ball_ids: Iterable[int]) -> Sequence[Drilling]:
    """Every drilling of these balls, newest first, with fit, system, bore and measurements."""
    ids = sorted(set(ball_ids))
    return session.scalars(_OF_BALLS, {"ball_ids": ids}).all() if ids else []


def of_bowler(session: Session, bowler_id: int) -> Sequence[Drilling]:
    """Every drilling of a bowler's balls, newest first, each with its ball."""
    query = select(Drilling).join(Ball).where(Ball.bowler_id == bowler_id).options(joinedload(Drilling.ball))
    return session.scalars(query.order_by(Drilling.id.desc())).all()


# Planning ---------------------------------------------------------------------------------------------------


def planned(
    fit: Fit,
    ball: Ball,
    system: InsertSystem | None,
    form: PlanForm,
    ours: depths.ShopDepth | None,
    limits: dict[str, SetLimit],
) -> dict[str, Any]:
    """The inputs of a drilling, to be frozen with it; InvalidError where the fit cannot be built this way."""
    _check_known(fit)
    target = depths.target_depth(system, ours) if system else None
    if system and target is None:
        raise InvalidError.at("system_id", "Nobody knows how deep to bore for this: give its sleeve length.")
    thumb = fit.hole("thumb")
    pitch = (float(thumb.forward_in or 0), float(thumb.right_in or 0))
    bore_pitch = pitch if form.bore_runs == "like_thumb" else (0.0, 0.0)
    notch = system.notch_deg if system and form.notch.state == "absent" else form.notch.value
    grip = fits.grip(
        fit,
        float(ball.circumference_in),
        fits.sleeve_od_in(system),
        target.depth_in if target else ASSUMED_THUMB_DEPTH_IN,
        bore_pitch if system else None,
    )
    grip, kept = fits.keep_finished(fit, grip)
    return {
        "grip": asdict(grip),
        "kept": kept,
        "fit": fit.letter,
        "bore": _planned_bore(system, target, bore_pitch) if system and target else None,
        "notch_deg": None if notch is None else str(notch),
        "cusp_limit_in": float(limits["cusp"].value_in),
        "limits": {name: float(limits[name].value_in) for name in LIMIT_NAMES},
        "assumed": [name for name in LIMIT_NAMES if limits[name].is_assumed],
        "system": _frozen_system(system) if system else None,
        "ball": {"safe_depth_in": None if ball.safe_depth_in is None else float(ball.safe_depth_in)},
        "point_deg": form.point,
        "assumed_depths": [digit for digit in fits.FINGERS if not fit.hole(digit).depth_in],
        **_chosen_inner(system, form.inner.value, thumb.hole_in, thumb.oval_in, limits["least_wall"].value_in),
    }


def _check_known(fit: Fit) -> None:
    """Refuses a fit that is not in force, or in which something that a grip needs is not known."""
    if fit.state != "in force":
        raise InvalidError.at("fit_id", f"Fit {fit.letter} is {fit.state}. Drill from a fit in force.")
    if not fits.can_solve(fit):
        unknown = ", ".join(fits.unknown(fit))
        raise InvalidError.at("fit_id", f"Unknown in fit {fit.letter}: {unknown}. Measure and revise it first.")


def _frozen_system(system: InsertSystem) -> dict[str, Any]:
    return {
        "label": system.label,
        "kind": routes.kind_of(system),
        "inner_ods": sorted(float(Fraction(text)) for text in system.inner_ods),
        "lock_depth_in": None if system.lock_depth_in is None else float(system.lock_depth_in),
        "inner_length_in": None if system.inner_length_in is None else float(system.inner_length_in),
        "stock": system.stock,
    }


def _planned_bore(system: InsertSystem, target: depths.TargetDepth, pitch: tuple[float, float]) -> dict[str, Any]:
    return {
        "bore_in": float(system.bore_in or depths.USUAL_BORE_IN),
        "depth_in": target.depth_in,
        "depth_half_width_in": target.half_width_in,
        "depth_words": target.words,
        "is_depth_assumed": target.is_assumed,
        "forward_in": pitch[0],
        "right_in": pitch[1],
    }


def _chosen_inner(
    system: InsertSystem | None, asked: Fraction | None, hole: Fraction | None, oval: Fraction | None, wall: Fraction
) -> dict[str, float]:
    """The inner asked for; else the smallest that leaves the least wall; else the widest; nothing without inners."""
    if system is None or not system.inner_ods:
        return {}
    sizes = sorted(Fraction(text) for text in system.inner_ods)
    wanted = (hole or Fraction(0)) + (oval or Fraction(0)) + 2 * wall
    chosen = next((s for s in sizes if s >= wanted), sizes[-1])
    if asked:
        if asked not in sizes:
            raise InvalidError.at("inner", "The hardware does not offer an inner of that size.")
        chosen = asked
    length = system.inner_length_in or system.lock_depth_in or system.sleeve_length_in or Fraction(2)
    return {"inner_od_in": float(chosen), "inner_length_in": float(length)}


def preview(session: Session, ball: Ball, form: PlanForm) -> tuple[dict[str, Any], WorkedOut]:
    """The plan these choices would make, and what follows from it; nothing is stored."""
    fit = fits.fit(session, form.fit_id)
    if fit.bowler_id != ball.bowler_id:
        raise InvalidError.at("fit_id", "That fit belongs to another bowler.")
    system = systems.system(session, form.system_id) if form.system_id else None
    ours = shops.require_our_shop(session)
    known = depths.shop_depths(session, [ours.id])
    depth = known.get((ours.id, system.id)) if system else None
    plan = planned(fit, ball, system, form, depth, shop_limits.limits(session))
    try:
        return plan, work_out(plan)
    except CannotBuildError as error:
        message = error.message[0].upper() + error.message[1:] + "."
        raise InvalidError.at("fit_id", f"This fit cannot be drilled in this ball. {message}") from None


def plan(session: Session, ball: Ball, form: PlanForm) -> Drilling:
    """Starts a drilling: what is specified is worked out once and frozen."""
    if ball.retired_at:
        raise ConflictError(f"{ball.label} is retired. Take it back into use first.")
    current = in_force(of_balls(session, [ball.id])).get(ball.id)
    if current:
        raise ConflictError(f"{ball.label} is {current.state} already. Plug it, or give that plan up, before another.")
    frozen, worked = preview(session, ball, form)
    tolerance = shop_limits.limits(session)["tolerance"]
    started = Drilling(
        ball_id=ball.id,
        fit_id=form.fit_id,
        system_id=form.system_id,
        shop_id=shops.require_our_shop(session).id,
        state="planned",
        plan=frozen | {"typed": typed_texts(form)},
        tolerance_in=tolerance.value_in,
        tolerance_source=tolerance.source,
        staff_id=form.who,
        notes=form.notes,
    )
    changes.made(session, form.who, started, f"{ball.label} from fit {frozen['fit']}", bowler=ball.bowler_id)
    system = systems.system(session, form.system_id) if form.system_id else None
    for position, step in enumerate(routes.steps(frozen, worked, routes.route_of(system)), 1):
        session.add(DrillingStep(drilling_id=started.id, position=position, **step))
    return started


# At the bench ---------------------------------------------------------------------------------------------------


def mark_drilled(session: Session, drilling_id: int, form: DrilledForm) -> Drilling:
    """Records the bore as built: depth with its datum and where the notch really points."""
    drilled = _to_change(session, drilling_id, form.version, "planned")
    if drilled.system_id and drilled.plan["bore"]:
        bore = _built_bore(drilled, form)
        bowler_id = drilled.ball.bowler_id
        changes.made(session, form.who, bore, f"bore in {drilled.ball.label}", bowler=bowler_id)
        drilled.bore_id = bore.id
    _move(session, form.who, drilled, {"state": "drilled", "drilled_at": now()})
    return drilled


def _built_bore(drilled: Drilling, form: DrilledForm) -> Bore:
    planned_bore = drilled.plan["bore"]
    depth = form.depth.value
    if depth is None and form.depth.state != "unknown":
        raise InvalidError.at("depth", "How deep did it come out? Write unknown if it was not measured.")
    datum = depths.datum_of(depth.datum, form.datum) if depth else "unknown"
    notch = form.notch.value
    if notch is None and form.notch.state != "unknown" and drilled.plan["notch_deg"]:
        notch = Fraction(drilled.plan["notch_deg"])
    bore = Bore(
        system_id=drilled.system_id,
        shop_id=drilled.shop_id,
        circumference_in=drilled.ball.circumference_in,
        bore_in=Fraction(planned_bore["bore_in"]),
        depth_in=depth.depth_in if depth else None,
        datum=datum,
        forward_in=Fraction(planned_bore["forward_in"]),
        right_in=Fraction(planned_bore["right_in"]),
        notch_deg=notch,
        hand=drilled.plan["grip"]["hand"],
        typed=typed_texts(form),
    )
    try:
        check_bore(shape(bore, Fraction(1)))
    except CannotBuildError as error:
        raise InvalidError.at("depth", error.message) from None
    return bore


def shape(bore: Bore, depth_in: Fraction | float) -> BoreShape:
    """A recorded bore as the calculation takes it, at a chosen depth; straight where its pitch is not known."""
    forward, right = float(bore.forward_in or 0), float(bore.right_in or 0)
    return BoreShape(float(bore.circumference_in), float(bore.bore_in), float(depth_in), forward, right)


def _to_change(session: Session, drilling_id: int, version: int, *states: str) -> Drilling:
    found = drilling(session, drilling_id)
    changes.require_version(session, found, version)
    if found.state not in states:
        raise ConflictError(f"This drilling is {found.state}: that step is past or not yet due.")
    return found


def _move(session: Session, who: int, moved: Drilling, values: dict[str, Any], why: str = "") -> None:
    changes.revise(session, who, moved, values, why, bowler=moved.ball.bowler_id)


# Measuring and closing ------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Finished:
    """Predicted against measured for both fingers, and the spans that follow as drilled.

    Repeated pairs count together: measured is their mean, with how many they are and half of its 95 % interval.
    """

    middle: Deviation
    ring: Deviation
    as_drilled: SolvedGrip
    pairs: int
    half_width_in: float

    @property
    def is_settled(self) -> bool:
        return self.middle.is_settled and self.ring.is_settled

    @property
    def verdict(self) -> str:
        """`within`, `long`, `short`, or `mixed` when one finger is long and the other short."""
        out = {d.verdict for d in (self.middle, self.ring)} - {"within"}
        return "within" if not out else out.pop() if len(out) == 1 else "mixed"


@dataclass(frozen=True)
class SpanReading:
    """One reading of a finger's span: its exact value, and as it was written, which tells its division."""

    value_in: Fraction
    text: str


def built_pairs(of: Drilling) -> dict[str, list[SpanReading]]:
    """Every finishing reading of a drilling by finger, oldest first."""
    built = sorted((m for m in of.measurements if m.stage == "built"), key=lambda m: m.id)
    return {
        finger: [SpanReading(m.value_in, m.typed) for m in built if m.what == f"span_{finger}"]
        for finger in ("middle", "ring")
    }


def finished(
    plan: dict[str, Any], tolerance_in: Fraction, read: Mapping[str, Sequence[SpanReading]], spread: SetLimit | None
) -> Finished:
    """Compares the mean of what was measured with what geometry predicts; InvalidError when no grip measures so.

    `spread` is the doubt in one reading; without it every verdict counts as settled.
    """
    worked = work_out(plan)
    middle, ring = (_repeated(read[finger], spread) for finger in ("middle", "ring"))
    try:
        built = remeasure_once(worked.solved.grip, middle.mean_in, ring.mean_in, worked.has_sleeve)
    except CannotBuildError as error:
        raise InvalidError.at("middle", f"No grip measures so: {error.message}.") from None
    limit = float(tolerance_in)
    return Finished(
        deviation(worked.predicted_in("middle"), middle.mean_in, limit, middle.half_width_in),
        deviation(worked.predicted_in("ring"), ring.mean_in, limit, ring.half_width_in),
        built,
        middle.count,
        max(middle.half_width_in, ring.half_width_in),
    )


def _repeated(read: Sequence[SpanReading], spread: SetLimit | None) -> RepeatedReading:
    values, division = [float(r.value_in) for r in read], float(division_in(r.text for r in read))
    if spread is None:
        return RepeatedReading(fmean(values), len(values), 0.0, 0.0)
    return repeated_reading(values, float(spread.value_in), spread.freedom, division)


def measured(of: Drilling, spread: SetLimit | None = None) -> Finished | None:
    """All finishing measurements of a drilling together, compared; None before there is a pair."""
    read = built_pairs(of)
    if not of.plan or not (read["middle"] and read["ring"]):
        return None
    return finished(of.plan, of.tolerance_in, read, spread)


def with_another(read: dict[str, list[SpanReading]], form: FinishForm) -> dict[str, list[SpanReading]]:
    """The pairs so far and the one that is being typed."""
    typed = {"middle": form.middle, "ring": form.ring}
    return {f: [*read[f], SpanReading(r.value or Fraction(0), r.text)] for f, r in typed.items()}


def measure(session: Session, drilling_id: int, form: FinishForm) -> Drilling:
    """Logs both finishing measurements; earlier pairs stay beside them, and the verdict is that of their mean."""
    of = _to_change(session, drilling_id, form.version, "drilled")
    middle, ring = form.middle.value, form.ring.value
    assert middle is not None
    assert ring is not None
    read = with_another(built_pairs(of), form)
    result = finished(of.plan, of.tolerance_in, read, shop_limits.limits(session)["span_spread"])
    predicted = {"middle": result.middle.predicted_in, "ring": result.ring.predicted_in}
    edges = "sleeve to cut" if of.plan["grip"]["sleeve_od_in"] else "cut"
    for finger, reading in (("middle", form.middle), ("ring", form.ring)):
        taken = Measurement(
            drilling_id=of.id,
            stage="built",
            what=f"span_{finger}",
            value_in=reading.value,
            typed=reading.text,
            reference=edges,
            instrument=form.instrument,
            note=form.note,
            staff_id=form.who,
        )
        session.add(taken)
        words = f"{reading.text} ({in_64ths(float(reading.value or 0) - predicted[finger])})"
        changes.note(session, form.who, of, f"{edges} to {finger}", "", words, form.note, of.ball.bowler_id)
    _move(session, form.who, of, {"verdict": result.verdict})
    return of


def close(session: Session, drilling_id: int, form: ClosingForm) -> Drilling:
    """Closes a measured drilling; out of tolerance it needs a reason, which stays on the bowler's record."""
    of = _to_change(session, drilling_id, form.version, "drilled")
    if not of.verdict:
        raise InvalidError.at("middle", "Measure to the middle and the ring before closing.")
    if of.verdict != "within" and not form.reason:
        raise InvalidError.at("reason", "It is out of tolerance: write why it is closed all the same.")
    _move(session, form.who, of, {"state": "closed", "closed_at": now(), "verdict_reason": form.reason}, form.reason)
    return of


def plug(session: Session, drilling_id: int, form: PluggingForm) -> Drilling:
    """The holes were filled; the ball can be drilled again."""
    of = _to_change(session, drilling_id, form.version, "planned", "drilled", "closed")
    _move(session, form.who, of, {"state": "plugged", "plugged_at": now()}, form.reason)
    return of


def find(session: Session, drilling_id: int, form: FindingForm) -> Drilling:
    """Records what a hole was found to be on a later visit; what was built stays as it was."""
    of = _to_change(session, drilling_id, form.version, "drilled", "closed")
    if form.value.value is None:
        raise InvalidError.at("value", "What was it found to be?")
    session.add(
        Measurement(
            drilling_id=of.id,
            stage="found",
            what=form.what,
            value_in=form.value.value,
            typed=form.value.text,
            reference="finished",
            note=form.note,
            staff_id=form.who,
        )
    )
    words = f"{changes.told(form.value.value)} as found"
    changes.note(session, form.who, of, form.what, "", words, form.note, of.ball.bowler_id, is_addition=True)
    return of


def choices(session: Session, ball_id: int) -> tuple[Ball, Sequence[Fit], Sequence[InsertSystem]]:
    """What a plan for this ball can be made from: the ball, the bowler's fits in force, the thumb systems."""
    chosen = balls.ball(session, ball_id)
    in_force = [f for f in fits.of_bowler(session, chosen.bowler_id) if f.state == "in force"]
    return chosen, in_force, systems.systems(session, "thumb")


def in_force(drilled: Iterable[Drilling]) -> dict[int, Drilling]:
    """The drilling each ball has now, by ball: the newest that is not plugged."""
    current: dict[int, Drilling] = {}
    for found in sorted((d for d in drilled if d.state != "plugged"), key=lambda d: d.id):
        current[found.ball_id] = found
    return current
