"""Thumb pieces: their record, how each sits in each bore, what it is felt as, and trial fits."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from fractions import Fraction
from typing import Any

from sqlalchemy import bindparam, select
from sqlalchemy.orm import Session, joinedload

from app.calculation import bores
from app.calculation.depths import (
    NORMAL_FACTOR,
    DepthEstimate,
    TrialReading,
    half_width_after_one_more,
    trial_fit_depth,
)
from app.calculation.errors import CannotBuildError
from app.calculation.inners import FeltPitch, felt_oval_deg, felt_pitch
from app.calculation.loose import LooseInner, loose_inner
from app.db import one
from app.errors import ConflictError, InvalidError, NotFoundError
from app.models import Ball, Bore, Bowler, DepthObservation, Drilling, Inner, InsertSystem, Measurement, TrialFit, now
from app.schemas.balls import RetirementForm
from app.schemas.forms import pitch_parts, typed_texts
from app.schemas.inners import InnerFindingForm, InnerForm, LooseForm, TrialDepthForm, TrialFitForm, VisitorForm
from app.services import changes, depths, drillings, shop_limits
from app.services.depths import ShopDepth
from app.services.shop_limits import SetLimit
from app.services.unsettled import Unsettled, unsettled


def inner(session: Session, inner_id: int) -> Inner:
    """An inner with its bowler, system, and the bore it was trimmed in."""
    found = one(
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


def of_bowler(session: Session, bowler_id: int) -> Sequence[Inner]:
    """A bowler's inners, those in use first."""
    return session.scalars(_OF_BOWLER, {"bowler_id": bowler_id}).all()


def add(session: Session, bowler: Bowler, form: InnerForm) -> Inner:
    """Adds an inner trimmed flush in one of this bowler's bores."""
    bore = one(session, Bore, form.trimmed_in_id, joinedload(Bore.system))
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
        **frame_values(form, bore.system),
    )
    changes.made(session, form.who, added, f"{added.label}, {bore.system.label}")
    return added


def hand_of_bore(session: Session, bore_id: int) -> str:
    """Whose thumb a bore was made for, `right` or `left`; empty where nobody said."""
    return session.scalar(select(Bore.hand).where(Bore.id == bore_id)) or ""


def frame_values(form: InnerForm | VisitorForm, system: InsertSystem) -> dict[str, Any]:
    """The inner's own numbers, in its lock frame."""
    outside, hole = form.outside.value, form.thumb_hole.value
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
    """Takes an inner out of use, or back into use when it is out."""
    retired = inner(session, inner_id)
    changes.require_version(session, retired, form.version)
    changes.revise(session, form.who, retired, {"retired_at": None if retired.retired_at else now()}, form.why)
    return retired


def find(session: Session, inner_id: int, form: InnerFindingForm) -> Measurement:
    """Records what an inner's thumb hole was found to be on a later visit; what was built stays as it was."""
    of = inner(session, inner_id)
    oval = form.value.value
    assert oval is not None
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
    changes.note(session, form.who, of, "thumb hole", "", f"{form.value.text} as found", form.note, is_addition=True)
    return found


def findings(session: Session, inner_id: int) -> Sequence[Measurement]:
    """What an inner was found to be, oldest first."""
    query = select(Measurement).where(Measurement.inner_id == inner_id).options(joinedload(Measurement.staff))
    return session.scalars(query.order_by(Measurement.id)).all()


# How it sits ----------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Seat:
    """A bore with the collar depth to reckon with: centre and half of its 95 % interval, and where that is from.

    `possible` holds what the bore may be where its pitch is not known; it is empty where the pitch is known.
    `is_assumed` marks a depth that nobody measured or told, so that no verdict can rest on it.
    """

    shape: bores.Bore
    half_width_in: float
    words: str
    notch_deg: float | None
    possible: tuple[bores.Bore, ...] = ()
    is_assumed: bool = False

    @property
    def depth_half_in(self) -> float:
        """How far its collar depth may be off either way, an unknown pitch counted."""
        depths_in = [bore.depth_in for bore in self.possible] or [0.0]
        return self.half_width_in + (max(depths_in) - min(depths_in)) / 2


@dataclass(frozen=True)
class Sitting:
    """One inner in one bore: rim, felt pitch and oval, the interval's half width, and what to do.

    `felt` is None where the tilt of the hole inside the inner is not known.
    """

    sit: bores.Sit
    half_width_in: float
    felt: FeltPitch | None
    felt_oval_deg: float | None
    turn_deg: float
    made: bores.Bore
    fitted: bores.Bore
    wanted_depth_in: float
    tilt_left_in: float
    verdict: str
    advice: tuple[str, ...]


def seat_of(bore: Bore, known: ShopDepth | None, limits: dict[str, SetLimit]) -> Seat | None:
    """The recorded bore's collar depth as measured, else as its shop usually bores; None when nothing is known.

    A measured depth has the doubt of our collar, or of a depth read off another shop's ball, and of the smallest
    division (JCGM 100:2008 4.3.7); one of unknown datum more. A bore nobody measured is its shop's next ball.
    """
    notch = None if bore.notch_deg is None else float(bore.notch_deg)
    own = known.of_bore(bore.id) if known else None
    if bore.forward_in is None:
        return _pitchless_seat(bore, known, limits, notch)
    if own and (bore.depth_in is None or bore.datum not in bores.DATUMS):
        return Seat(drillings.shape(bore, own.depth_in), own.half_width_in, own.words, notch)
    if bore.depth_in is not None:
        read = drillings.shape(bore, bore.depth_in)
        if bore.datum in bores.DATUMS:
            depth = bores.collar_depth_in(read, bore.datum)
            return Seat(replace(read, depth_in=depth), _read_half_in(bore, limits), "measured in this ball", notch)
        low, high = bores.collar_depth_range_in(read)
        words = "measured, but nobody knows from what"
        half = math.hypot((high - low) / 2, _read_half_in(bore, limits))
        return Seat(replace(read, depth_in=(low + high) / 2), half, words, notch)
    if known is None:
        return None
    shape = drillings.shape(bore, known.estimate.depth_in)
    return Seat(shape, known.next_half_width_in, f"{bore.shop.name} usually bores so", notch)


def _read_half_in(bore: Bore, limits: dict[str, SetLimit]) -> float:
    """Half of the 95 % interval of a depth read in one ball, inches: the freedom of its gauge's study counts."""
    spread = float(limits["collar_spread" if bore.shop.is_ours else "ball_spread"].normal_in)
    return NORMAL_FACTOR * math.hypot(spread, float(limits["resolution"].value_in) / math.sqrt(12))


def _pitchless_seat(
    bore: Bore, known: ShopDepth | None, limits: dict[str, SetLimit], notch: float | None
) -> Seat | None:
    """The seat of a bore whose pitch is not known: every bore it may be, each with the depth that follows."""
    own = known.of_bore(bore.id) if known else None
    if own and (bore.depth_in is None or bore.datum not in bores.DATUMS):
        read = drillings.shape(bore, own.depth_in)
        possible, half, words = bores.possible_bores(read, "collar"), own.half_width_in, own.words
    elif bore.depth_in is not None:
        read = drillings.shape(bore, bore.depth_in)
        datums = [datum for datum in bores.DATUMS if bore.datum in {datum, "unknown"}]
        possible = tuple(one for datum in datums for one in bores.possible_bores(read, datum))
        half = _read_half_in(bore, limits)
        words = "measured in this ball, its pitch not known"
    elif known is not None:
        read = drillings.shape(bore, known.estimate.depth_in)
        possible, half = bores.possible_bores(read, "collar"), known.next_half_width_in
        words = f"{bore.shop.name} usually bores so"
    else:
        return None
    depths_in = [one.depth_in for one in possible]
    return Seat(replace(read, depth_in=(min(depths_in) + max(depths_in)) / 2), half, words, notch, possible)


def not_known(made: Seat, fitted: Seat) -> tuple[str, ...]:
    """What is not known of two bores and decides how an inner from one sits in the other, in words."""
    gaps = {
        "the pitch of the bore it was trimmed in": bool(made.possible),
        "the pitch of this bore": bool(fitted.possible),
        "which way the notch of the bore it was trimmed in points": made.notch_deg is None,
        "which way the notch of this bore points": fitted.notch_deg is None,
    }
    return tuple(words for words, is_gap in gaps.items() if is_gap)


DEPTH_ASSUMED = "Our depth is ASSUMED, and the ± does not count it. Measure our collar and add it under our shop."


def sitting(of: Inner, made: Seat, fitted: Seat, lip_in: float) -> Sitting | Unsettled:
    """Composes an inner with a bore: how it sits, how it is felt, and what to do about it; a range while unsettled."""
    half = (made.half_width_in**2 + fitted.half_width_in**2) ** 0.5
    gaps = not_known(made, fitted)
    if gaps:
        felt = None if fitted.possible or of.forward_in or of.right_in else _felt(of, fitted.shape, 0.0)
        either = (made.possible or (made.shape,), fitted.possible or (fitted.shape,))
        found = unsettled(float(of.outside_in), either, half, gaps, felt, lip_in)
        if not fitted.is_assumed:
            return found
        return replace(found, verdict="measure", advice=(DEPTH_ASSUMED, *found.advice))
    turn = ((fitted.notch_deg or 0.0) - (made.notch_deg or 0.0)) % 360
    try:
        sit = bores.sit(float(of.outside_in), made.shape, fitted.shape, turn)
    except CannotBuildError as error:
        raise InvalidError.at("", error.message) from None
    wanted = bores.flush_depth_in(made.shape, fitted.shape)
    tilt = max(sit.highest_in - sit.centre_in, sit.centre_in - sit.lowest_in)
    verdict = "measure" if fitted.is_assumed else _verdict(sit, half, lip_in)
    advice = _advice(verdict, sit, wanted - fitted.shape.depth_in, tilt, lip_in)
    return Sitting(
        sit=sit,
        half_width_in=half,
        felt=_felt(of, fitted.shape, turn),
        felt_oval_deg=felt_oval_deg(float(of.oval_deg or 0), turn) if of.oval_in else None,
        turn_deg=turn,
        made=made.shape,
        fitted=fitted.shape,
        wanted_depth_in=wanted,
        tilt_left_in=tilt,
        verdict=verdict,
        advice=(DEPTH_ASSUMED, *advice) if fitted.is_assumed else advice,
    )


def _felt(of: Inner, fitted: bores.Bore, turn_deg: float) -> FeltPitch | None:
    """The pitch felt in a bore; None where the inner's own tilt is not known."""
    if of.forward_in is None or of.right_in is None:
        return None
    tilt = (float(of.forward_in), float(of.right_in))
    return felt_pitch(fitted.circumference_in, fitted.forward_in, fitted.right_in, *tilt, turn_deg)


def _verdict(sit: bores.Sit, half_width_in: float, lip_in: float) -> str:
    """`flush`, `proud`, `sunk` or `measure` while the interval straddles the limit."""
    worst = max(abs(sit.highest_in), abs(sit.lowest_in))
    if worst + half_width_in <= lip_in:
        return "flush"
    if worst - half_width_in <= lip_in:
        return "measure"
    return "proud" if sit.highest_in > -sit.lowest_in else "sunk"


def _advice(verdict: str, sit: bores.Sit, deeper_in: float, tilt_in: float, lip_in: float) -> tuple[str, ...]:
    if verdict == "flush":
        return ("Lock it in and feel round the rim.",)
    lines = []
    if verdict == "measure":
        lines.append("What is known of the two depths is not enough to say. Make a trial fit before anything is cut.")
    if abs(sit.centre_in) > lip_in / 2:
        if deeper_in > 0:
            lines.append(
                "In a new ball: set the collar deeper, to the depth below. In a finished ball: deepen the seat, "
                "a cut that cannot be undone."
            )
            lines.append("Do not trim this inner: it would sink in every ball it is flush in now.")
        else:
            lines.append("In a new ball: set the collar shallower, to the depth below.")
            lines.append("In a finished ball: shim under the sleeve by that much, or lock in a new inner trimmed here.")
    if tilt_in > lip_in:
        lines.append("No depth cures the tilt that is left: bore at the pitch this inner was trimmed in.")
    return tuple(lines) or ("Feel round the rim: it is close to the limit.",)


# Trial fits -----------------------------------------------------------------------------------------------------


def trial_fits(session: Session, inner_id: int) -> Sequence[TrialFit]:
    """An inner's trial fits that have not yet been saved as a depth."""
    query = select(TrialFit).where(TrialFit.inner_id == inner_id, TrialFit.observation_id.is_(None))
    return session.scalars(query.order_by(TrialFit.id)).all()


def add_trial_fit(session: Session, inner_id: int, form: TrialFitForm) -> TrialFit:
    """Logs one trial fit."""
    of = inner(session, inner_id)
    depth, proud = form.trial_depth.value, form.proud.value
    assert depth is not None
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
    words = f"at {changes.told(tried.trial_depth_in)} stood {changes.told(tried.proud_in)}"
    changes.note(session, form.who, of, "trial fit", "", words, is_addition=True)
    return tried


def trial_estimate(session: Session, tried: Sequence[TrialFit]) -> DepthEstimate | None:
    """The wanted depth that these trial fits give, or None before the first."""
    if not tried:
        return None
    limits = shop_limits.limits(session)
    readings = [TrialReading(float(t.trial_depth_in), float(t.proud_in)) for t in tried]
    return trial_fit_depth(readings, float(limits["resolution"].value_in), float(limits["repeatability"].value_in))


def one_more_trial(session: Session, estimate: DepthEstimate) -> float:
    """Half width the interval would have after one more trial like those so far."""
    return half_width_after_one_more(estimate, float(shop_limits.limits(session)["resolution"].value_in))


def read_loose(session: Session, of: Inner, form: LooseForm) -> LooseInner:
    """The bore an inner was trimmed in, from its rim's heights as finely as they were written; nothing is stored."""
    bore = of.trimmed_in
    spread = math.hypot(float(shop_limits.limits(session)["height_spread"].value_in), form.division_in / math.sqrt(12))
    try:
        return loose_inner(
            form.heights_in, float(of.outside_in), float(bore.circumference_in), float(bore.bore_in), spread
        )
    except CannotBuildError as error:
        raise InvalidError.at("height_12", error.message[0].upper() + error.message[1:] + ".") from None


def save_loose(session: Session, inner_id: int, form: LooseForm) -> DepthObservation:
    """Saves what a loose inner tells as its shop's depth, and its bore's pitch as that of the inner's bore."""
    of = inner(session, inner_id)
    found, bore = read_loose(session, of, form), of.trimmed_in
    if not found.is_one_clean_cut:
        raise InvalidError.at(
            "height_12",
            f"These four heights cannot be of one clean cut: one is off by {found.misfit_in:.3f} in or more. "
            "Read all four again. If they come out the same, the rim is damaged and tells nothing of the bore.",
        )
    exact = [Fraction(v).limit_denominator(10**6) for v in (found.depth_in, found.forward_in, found.right_in)]
    changes.revise(
        session,
        form.who,
        bore,
        {"forward_in": exact[1], "right_in": exact[2]},
        "read off the loose inner",
        of.bowler_id,
    )
    observation = DepthObservation(
        shop_id=bore.shop_id,
        system_id=of.system_id,
        depth_in=exact[0],
        datum="collar",
        obtained="loose_inner",
        circumference_in=bore.circumference_in,
        bore_in=bore.bore_in,
        forward_in=exact[1],
        right_in=exact[2],
        resolution_in=Fraction(0),
        repeatability_in=Fraction(found.depth_u_in).limit_denominator(10**6),
        observed_on=date.today(),
        staff_id=form.who,
        inner_id=of.id,
        typed=typed_texts(form),
    )
    depths.add(session, form.who, observation, bore.shop.name, of.system)
    return observation


def save_trial_depth(session: Session, inner_id: int, form: TrialDepthForm) -> DepthObservation:
    """Saves what the trial fits give as the depth of the shop that trimmed the inner, with its readings."""
    of = inner(session, inner_id)
    tried = trial_fits(session, inner_id)
    estimate = trial_estimate(session, tried)
    if estimate is None:
        raise ConflictError("Log at least one trial fit first.")
    bore = of.trimmed_in
    observation = DepthObservation(
        shop_id=bore.shop_id,
        system_id=of.system_id,
        depth_in=Fraction(estimate.depth_in).limit_denominator(10**6),
        datum="collar",
        obtained="trial_fit",
        circumference_in=bore.circumference_in,
        bore_in=bore.bore_in,
        forward_in=bore.forward_in,
        right_in=bore.right_in,
        resolution_in=Fraction(0),  # already inside the estimate's uncertainty
        repeatability_in=Fraction(estimate.standard_uncertainty_in).limit_denominator(10**6),
        freedom=None if math.isinf(estimate.freedom) else Fraction(estimate.freedom).limit_denominator(10**6),
        observed_on=date.today(),
        staff_id=form.who,
        inner_id=of.id,
        notes=form.notes,
    )
    depths.add(session, form.who, observation, bore.shop.name, of.system)
    for reading in tried:
        changes.require_may_edit(session, reading)
        reading.observation_id = observation.id
    words = f"{bore.shop.name}: {changes.told(observation.depth_in)}"
    changes.note(session, form.who, of, "shop depth", "", words, is_addition=True)
    return observation


DEPTH_UNKNOWN = "unknown:"  # begins what is said of a ball in which a depth is not known


def sits(
    of: Inner,
    drilled: Iterable[Drilling],
    owned: Iterable[Ball],
    known: dict[tuple[int, int], ShopDepth],
    limits: dict[str, SetLimit],
) -> list[tuple[Ball, Drilling, Sitting | Unsettled | str]]:
    """How an inner sits in each of these balls, or in words why that cannot be said."""
    labels = {ball.id: ball for ball in owned if not ball.retired_at}
    made = seat_of(of.trimmed_in, known.get((of.trimmed_in.shop_id, of.system_id)), limits)
    found: list[tuple[Ball, Drilling, Sitting | Unsettled | str]] = []
    for drilling in drilled:
        ball = labels.get(drilling.ball_id)
        if ball is None or drilling.bore is None:
            continue
        if drilling.system_id != of.system_id:
            found.append((ball, drilling, "another system: it does not lock here"))
            continue
        if drilling.bore_id == of.trimmed_in_id:
            found.append((ball, drilling, "trimmed flush in this ball"))
            continue
        fitted = seat_of(drilling.bore, known.get((drilling.shop_id, of.system_id)), limits)
        if made is None or fitted is None:
            whose = "where it was trimmed" if made is None else "of this ball"
            found.append((ball, drilling, f"{DEPTH_UNKNOWN} measure the bore depth {whose}, or make a trial fit"))
            continue
        found.append((ball, drilling, sitting(of, made, fitted, float(limits["lip"].value_in))))
    return found
