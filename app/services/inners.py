"""Inners: their records, and measurements of them on later visits."""

from collections.abc import Sequence
from fractions import Fraction
from typing import Any

from sqlalchemy import bindparam, select
from sqlalchemy.orm import Session, joinedload

from app.calculation.bores import Bore as BoreShape
from app.calculation.bores import check_bore
from app.calculation.errors import CannotBuildError
from app.calculation.inners import FeltPitch
from app.calculation.owned_inners import inner_tilt_for_felt
from app.closed_sets import NOTCH_UNASKED, STRAIGHT_UNASKED
from app.db import load_one
from app.errors import InvalidError, NotFoundError
from app.measures.ovals import Oval
from app.measures.reading import Reading
from app.models import Ball, Bore, Bowler, Drilling, Inner, InsertSystem, Measurement, Shop, now
from app.models.plans import Plan
from app.schemas.balls import RetirementForm
from app.schemas.forms import mark_unasked, pitch_parts, typed_texts
from app.schemas.inners import CompletionForm, InnerFindingForm, InnerForm, VisitorForm
from app.services import bowlers, changes

_WHOLE = (
    joinedload(Inner.bowler),
    joinedload(Inner.system),
    joinedload(Inner.trimmed_in).joinedload(Bore.shop),
)
_SYSTEM = joinedload(Bore.system)


def get_inner(session: Session, inner_id: int) -> Inner:
    """Returns an inner with its bowler, system, and the bore it was trimmed in; raises NotFoundError."""
    found = load_one(session, Inner, inner_id, *_WHOLE)
    if found is None:
        raise NotFoundError("There is no such inner.")
    return found


_OF_BOWLER = (
    select(Inner)
    .where(Inner.bowler_id == bindparam("bowler_id"))
    .options(joinedload(Inner.system), joinedload(Inner.trimmed_in).joinedload(Bore.shop))
    .order_by(Inner.retired_at.is_not(None), Inner.id)
)


def list_of_bowler(session: Session, bowler_id: int) -> Sequence[Inner]:
    """Returns a bowler's inners, those in use first."""
    return session.scalars(_OF_BOWLER, {"bowler_id": bowler_id}).all()


def add(session: Session, bowler: Bowler, form: InnerForm) -> Inner:
    """Adds an inner trimmed flush in one of this bowler's bores; raises InvalidError for another bore."""
    bowlers.require_in_use(bowler)
    bore = load_one(session, Bore, form.trimmed_in_id, _SYSTEM)
    owned = bore and session.scalar(
        select(Ball.bowler_id).join(Drilling, Drilling.ball_id == Ball.id).where(Drilling.bore_id == bore.id)
    )
    if bore is None or bore.system is None or owned != bowler.id:
        raise InvalidError.at("trimmed_in_id", "Choose the ball it was trimmed in.")
    added = Inner(
        bowler_id=bowler.id,
        label=form.label,
        system_id=bore.system.id,
        trimmed_in_id=bore.id,
        notes=form.notes,
        **read_frame_values(form, bore.system),
    )
    changes.add_record(session, form.who, added, f"{added.label}, {bore.system.label}")
    return added


def find_hand_of_bore(session: Session, bore_id: int) -> str:
    """Returns the hand a bore was made for, `right` or `left`; empty if unknown."""
    return session.scalar(select(Bore.hand).where(Bore.id == bore_id)) or ""


def read_frame_values(form: InnerForm | VisitorForm, system: InsertSystem) -> dict[str, Any]:
    """Returns the inner's own numbers, in its lock frame; raises InvalidError for impossible ones."""
    outside, hole = form.outside.value, form.thumb_hole.value
    check_size(system, outside, hole.hole_in + hole.oval_in if hole else None, "thumb_hole")
    return {
        "outside_in": outside,
        **oval_parts(hole),
        **pitch_parts(form.tilt),
        "typed": typed_texts(form) | mark_unasked(form.tilt, "tilt", STRAIGHT_UNASKED),
    }


def check_size(system: InsertSystem, outside_in: Fraction | None, hole_in: Fraction | None, field: str) -> None:
    """Raises InvalidError for an inner wider than its sleeve, and at `field` for one with no wall about its hole."""
    widest = system.sleeve_od_in or system.bore_in
    if outside_in and widest and outside_in > widest:
        raise InvalidError.at("outside", "The inner is wider than the sleeve it locks into.")
    limit = outside_in or widest
    if hole_in and limit and hole_in >= limit:
        raise InvalidError.at(field, "The thumb hole is as wide as the inner or wider.")


def oval_parts(hole: Oval | None) -> dict[str, Fraction | None]:
    """Returns a thumb hole by the names of its columns, None where it is unknown or was not given."""
    if hole is None:
        return {"hole_in": None, "oval_in": None, "oval_deg": None}
    return {"hole_in": hole.hole_in, "oval_in": hole.oval_in, "oval_deg": hole.oval_deg}


def list_open(of: Inner) -> dict[str, str]:
    """Returns the fields of a CompletionForm that may be filled in, each with what the record says now."""
    bore, unknown = of.trimmed_in, "unknown"
    said = {
        "outside": unknown if of.outside_in is None else "",
        "bore_pitch": unknown if bore.forward_in is None else STRAIGHT_UNASKED if bore.is_pitch_unsaid else "",
        "notch": unknown if bore.notch_deg is None else NOTCH_UNASKED if bore.is_notch_unsaid else "",
        "thumb_hole": "" if of.hole_in else unknown,
        "tilt": unknown if of.forward_in is None else STRAIGHT_UNASKED if of.is_tilt_unsaid else "",
    }
    return {field: words for field, words in said.items() if words}


def complete(session: Session, inner_id: int, form: CompletionForm) -> Inner:
    """Adds what was unknown or never asked of an inner and its bore. What is known stays as built: InvalidError."""
    of = get_inner(session, inner_id)
    changes.require_version(session, of, form.version)
    now_said, oval = list_open(of), form.thumb_hole.value
    hole = oval.hole_in + oval.oval_in if oval else of.hole_in and of.hole_in + (of.oval_in or 0)
    check_size(of.system, form.outside.value or of.outside_in, hole, "thumb_hole" if oval else "outside")
    added: dict[str, tuple[Bore | Inner, Reading[Any], dict[str, Fraction | None]]] = {
        "outside": (of, form.outside, {"outside_in": form.outside.value}),
        "bore_pitch": (of.trimmed_in, form.bore_pitch, pitch_parts(form.bore_pitch)),
        "notch": (of.trimmed_in, form.notch, {"notch_deg": form.notch.value}),
        "thumb_hole": (of, form.thumb_hole, oval_parts(oval)),
        "tilt": (of, form.tilt, pitch_parts(form.tilt)),
    }
    for field, (record, reading, values) in added.items():
        if reading.state == "absent":
            continue
        if field not in now_said:
            raise InvalidError.at(field, "This is known already: it stays as it was built.")
        changes.note(
            session, form.who, record, changes.Entry(field, now_said[field], reading.text, form.note), of.bowler_id
        )
        for name, value in (values | {"typed": record.typed | {field: reading.text}}).items():
            setattr(record, name, value)
    _check_bore(of.trimmed_in)
    return of


def _check_bore(bore: Bore) -> None:
    pitch = (float(bore.forward_in or 0), float(bore.right_in or 0))
    try:
        check_bore(BoreShape(float(bore.around_in), float(bore.bore_in), 1.0, *pitch))
    except CannotBuildError as error:
        raise InvalidError.at("bore_pitch", error.message) from None


def retire(session: Session, inner_id: int, form: RetirementForm) -> Inner:
    """Takes an inner out of use, or back into use if it is out; returns it."""
    retired = get_inner(session, inner_id)
    changes.require_version(session, retired, form.version)
    if retired.retired_at:
        bore = retired.trimmed_in
        changes.return_to_use(session, form.who, InsertSystem, retired.system_id, bore.system_id)
        changes.return_to_use(session, form.who, Shop, bore.shop_id)
    changes.revise(session, form.who, retired, {"retired_at": None if retired.retired_at else now()}, form.why)
    return retired


def add_finding(session: Session, inner_id: int, form: InnerFindingForm) -> Measurement:
    """Records an inner's thumb hole as found on a later visit; the inner as built does not change."""
    of = get_inner(session, inner_id)
    oval = form.value.given
    found = Measurement(
        inner_id=of.id,
        stage="found",
        what="thumb_hole",
        value_in=oval.hole_in,
        typed=form.value.text,
        reference="finished",
        note=form.note,
        staff_id=form.who,
    )
    session.add(found)
    changes.note(
        session,
        form.who,
        of,
        changes.Entry("thumb hole", "", f"{form.value.text} as found", form.note),
        is_addition=True,
    )
    return found


def list_findings(session: Session, inner_id: int) -> Sequence[Measurement]:
    """Returns the measurements of an inner as found, oldest first."""
    found = (Measurement.inner_id == inner_id, Measurement.stage == "found")
    query = select(Measurement).where(*found).options(joinedload(Measurement.staff))
    return session.scalars(query.order_by(Measurement.id)).all()


def find_in_drilling(session: Session, of: Drilling) -> Inner | None:
    """The inner that was made or fitted in a drilling, or is to be fitted, with its own columns only."""
    return session.get(Inner, of.inner_id) if of.inner_id else None


def list_drillings(session: Session, inner_id: int) -> Sequence[Drilling]:
    """The drillings that an inner was made or fitted in or is planned for, each with its ball, newest first."""
    query = (
        select(Drilling)
        .where(Drilling.inner_id == inner_id, Drilling.state != "not drilled")
        .options(joinedload(Drilling.ball))
    )
    return session.scalars(query.order_by(Drilling.id.desc())).all()


def record_in_drilling(session: Session, who: int, of: Drilling, plan: Plan, bore: Bore) -> int | None:
    """The id of the inner that a drilled ball holds: the owned one, or the new one, recorded."""
    if plan.owned or plan.inner is None or of.system is None:
        return plan.owned.inner_id if plan.owned else None
    thumb = plan.grip.require_thumb()
    shape = BoreShape(
        plan.grip.circumference_in, float(bore.bore_in), 0.0, float(bore.forward_in or 0), float(bore.right_in or 0)
    )
    tilt = inner_tilt_for_felt(shape, FeltPitch(thumb.forward_in, thumb.right_in))
    forward, right = (Fraction(part).limit_denominator(10**6) for part in tilt)
    hole, oval, outside = (
        Fraction(v).limit_denominator(10**6) for v in (thumb.hole_in, thumb.oval_in, plan.inner.outside_in)
    )
    made = Inner(
        bowler_id=of.ball.bowler_id,
        label=f"inner of {of.ball.label}"[:80],
        system_id=of.system.id,
        trimmed_in_id=bore.id,
        outside_in=outside,
        hole_in=hole,
        oval_in=oval,
        oval_deg=Fraction(thumb.oval_deg).limit_denominator(10**6) if oval else Fraction(0),
        forward_in=forward,
        right_in=right,
        typed={"tilt": "as drilled"},
    )
    if bore.forward_in is None or "thumb pitch" in plan.unknown:
        made.forward_in = made.right_in = None
        made.typed = {"tilt": "unknown"}
    if "oval" in plan.unknown:
        made.hole_in = made.oval_in = made.oval_deg = None
        made.typed = made.typed | {"thumb_hole": "unknown"}
    if plan.inner_kind == "moulded":  # its hole came out as the thumb made it
        made.hole_in = made.oval_in = made.oval_deg = made.forward_in = made.right_in = None
        made.typed = {"thumb_hole": "unknown", "tilt": "unknown"}
        made.notes = "moulded: nobody has measured its hole and tilt yet"
    changes.add_record(session, who, made, f"{made.label}, {of.system.label}", "drilled with its ball")
    return made.id
