"""Inners: their records, and measurements of them on later visits."""

from collections.abc import Sequence
from typing import Any

from sqlalchemy import bindparam, select
from sqlalchemy.orm import Session, joinedload

from app.db import load_one
from app.errors import InvalidError, NotFoundError
from app.models import Ball, Bore, Bowler, Drilling, Inner, InsertSystem, Measurement, now
from app.schemas.balls import RetirementForm
from app.schemas.forms import pitch_parts, typed_texts
from app.schemas.inners import InnerFindingForm, InnerForm, VisitorForm
from app.services import changes


def get_inner(session: Session, inner_id: int) -> Inner:
    """Returns an inner with its bowler, system, and the bore it was trimmed in; raises NotFoundError."""
    found = load_one(
        session,
        Inner,
        inner_id,
        joinedload(Inner.bowler),
        joinedload(Inner.system),
        joinedload(Inner.trimmed_in).joinedload(Bore.shop),
    )
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
    bore = load_one(session, Bore, form.trimmed_in_id, joinedload(Bore.system))
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
    outside, hole = form.outside.given, form.thumb_hole.value
    widest = system.sleeve_od_in or system.bore_in
    if widest and outside > widest:
        raise InvalidError.at("outside", "The inner is wider than the sleeve it locks into.")
    if hole and hole.hole_in + hole.oval_in >= outside:
        raise InvalidError.at("thumb_hole", "The thumb hole is as wide as the inner or wider.")
    return {
        "outside_in": outside,
        "hole_in": hole.hole_in if hole else None,
        "oval_in": hole.oval_in if hole else None,
        "oval_deg": hole.oval_deg if hole else None,
        **pitch_parts(form.tilt),
        "typed": typed_texts(form),
    }


def retire(session: Session, inner_id: int, form: RetirementForm) -> Inner:
    """Takes an inner out of use, or back into use if it is out; returns it."""
    retired = get_inner(session, inner_id)
    changes.require_version(session, retired, form.version)
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
    query = select(Measurement).where(Measurement.inner_id == inner_id).options(joinedload(Measurement.staff))
    return session.scalars(query.order_by(Measurement.id)).all()
