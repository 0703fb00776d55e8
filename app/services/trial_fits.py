"""Trial fits of an inner, and the depth estimated from them."""

import math
from collections.abc import Sequence
from datetime import date
from fractions import Fraction

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.calculation.bores import UNKNOWN_PITCH_IN, trial_pitch_doubt_in
from app.calculation.depths import (
    DepthEstimate,
    TrialReading,
    half_width_after_one_more,
    trial_fit_depth,
)
from app.closed_sets import STRAIGHT_UNASKED
from app.errors import ConflictError, InvalidError
from app.models import Bore, DepthObservation, Inner, TrialFit
from app.schemas.forms import typed_texts
from app.schemas.inners import TrialDepthForm, TrialFitForm
from app.services import changes, depths, inners, shop_limits
from app.services.drillings import to_bore_shape


def list_trial_fits(session: Session, inner_id: int) -> Sequence[TrialFit]:
    """Returns an inner's trial fits that have not yet been saved as a depth."""
    query = select(TrialFit).where(TrialFit.inner_id == inner_id, TrialFit.observation_id.is_(None))
    return session.scalars(query.order_by(TrialFit.id)).all()


def add_trial_fit(session: Session, inner_id: int, form: TrialFitForm) -> TrialFit:
    """Records one trial fit; raises InvalidError for a depth from another datum than the collar."""
    of = inners.get_inner(session, inner_id)
    depth, proud = form.trial_depth.given, form.proud.given
    if depth.datum not in {"", "collar"}:
        raise InvalidError.at("trial_depth", "A trial depth is the collar setting. Measure from the collar's face.")
    tried = TrialFit(
        inner_id=of.id,
        trial_depth_in=depth.depth_in,
        proud_in=proud,
        typed=typed_texts(form),
        staff_id=form.who,
    )
    session.add(tried)
    words = f"at {changes.format_value(tried.trial_depth_in)} stood {changes.format_value(tried.proud_in)}"
    if assumed := describe_assumed_pitch(of):
        words += f", {assumed}"
    changes.note(session, form.who, of, changes.Entry("trial fit", "", words), is_addition=True)
    return tried


def describe_assumed_pitch(of: Inner) -> str:
    """Returns what a trial of this inner assumes of pitches; empty where the pitch it was trimmed at is known."""
    if of.trimmed_in.forward_in is None:
        limit = changes.format_value(Fraction(UNKNOWN_PITCH_IN))
        return f"own pitch unknown: every pitch up to {limit} of inner and scrap, ASSUMED"
    return "own pitch straight, or never asked: straight, ASSUMED" if of.trimmed_in.is_pitch_unsaid else ""


def find_pitch_doubt_in(of: Inner) -> float:
    """By how many inches the wanted depth may be off because the inner's own pitch is unknown; 0 where it is known."""
    bore = of.trimmed_in
    return 0.0 if bore.forward_in is not None else trial_pitch_doubt_in(to_bore_shape(bore, 0))


def estimate_trial_depth(session: Session, tried: Sequence[TrialFit]) -> DepthEstimate | None:
    """Estimates the flush depth from trial fits; None before the first."""
    if not tried:
        return None
    limits = shop_limits.load_limits(session)
    readings = [TrialReading(float(t.trial_depth_in), float(t.proud_in)) for t in tried]
    return trial_fit_depth(readings, float(limits["resolution"].value_in), float(limits["repeatability"].value_in))


def predict_after_one_more(session: Session, estimate: DepthEstimate) -> float:
    """Returns the interval's half width after one more trial like those so far, inches."""
    return half_width_after_one_more(estimate, float(shop_limits.load_limits(session)["resolution"].value_in))


def _describe_pitch_text(bore: Bore) -> dict[str, str]:
    """Returns the text of an observation's pitch where that of the inner's bore is unknown or was never asked."""
    if bore.forward_in is None:
        return {"pitch": "unknown"}
    return {"pitch": STRAIGHT_UNASKED} if bore.is_pitch_unsaid else {}


def save_trial_depth(session: Session, inner_id: int, form: TrialDepthForm) -> DepthObservation:
    """Saves the depth from the trial fits as an observation of the shop that trimmed the inner, with its readings."""
    of = inners.get_inner(session, inner_id)
    tried = list_trial_fits(session, inner_id)
    estimate = estimate_trial_depth(session, tried)
    if estimate is None:
        raise ConflictError("Log at least one trial fit first.")
    bore = of.trimmed_in
    observation = DepthObservation(
        shop_id=bore.shop_id,
        system_id=of.system_id,
        depth_in=Fraction(estimate.depth_in).limit_denominator(10**6),
        datum="collar",
        obtained="trial_fit",
        circumference_in=bore.around_in,
        bore_in=bore.bore_in,
        forward_in=bore.forward_in,
        right_in=bore.right_in,
        resolution_in=Fraction(0),  # already part of the estimate's uncertainty
        repeatability_in=Fraction(estimate.standard_uncertainty_in).limit_denominator(10**6),
        freedom=None if math.isinf(estimate.freedom) else Fraction(estimate.freedom).limit_denominator(10**6),
        typed=_describe_pitch_text(bore),
        observed_on=date.today(),
        staff_id=form.who,
        inner_id=of.id,
        notes=form.notes,
    )
    depths.add(session, form.who, observation, bore.shop.name, of.system)
    for reading in tried:
        changes.require_may_edit(session, reading)
        reading.observation_id = observation.id
    words = ", ".join(
        filter(None, (f"{bore.shop.name}: {changes.format_value(observation.depth_in)}", describe_assumed_pitch(of)))
    )
    changes.note(session, form.who, of, changes.Entry("shop depth", "", words), is_addition=True)
    return observation
