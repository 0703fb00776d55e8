"""Planning for an inner that the bowler owns: the bore that this very piece needs.

Where pitch, depth or notch of the bore it was made in is unknown, the plan has a range and bores as shallow as the
inner may need, since a bore can be deepened and an owned inner cannot grow. Without its hole or tilt nothing is said.
"""

import math
from dataclasses import replace
from fractions import Fraction

from sqlalchemy.orm import Session

from app.calculation.bores import Bore, flushness, flushness_range
from app.calculation.errors import CannotBuildError
from app.calculation.grip import Thumb
from app.calculation.inners import FeltPitch
from app.calculation.owned_inners import FittedInner, OwnedInner, collar_depth, fit_by_feel, fit_flush
from app.closed_sets import STRAIGHT_UNASKED
from app.errors import InvalidError, NotFoundError
from app.models import Ball, Fit, Inner
from app.models import Bore as BoreRecord
from app.models.plans import OwnedFit, Plan, PlannedBore, PlannedInner, PlannedOwned
from app.schemas.drillings import PlanChoices
from app.services import depths, drillings, grips, inners, inners_in_bores, shop_limits, shops, target_depths
from app.services.inners_in_bores import KnownBore
from app.services.shop_limits import SetLimit
from app.services.target_depths import TargetDepth
from app.services.unsettled import OUTSIDE

_SAME_PITCH_IN = 0.0005
_SAME_TURN_DEG = 0.5
_TURN_STEP_DEG = 15  # of a rim whose turn is unknown


def plan_for_owned(session: Session, plan: Plan, fit: Fit, ball: Ball, form: PlanChoices) -> Plan:
    """A plan for a new inner, made anew for the inner chosen; InvalidError at the field that stands against it."""
    inner = _get_chosen(session, fit, ball, form)
    ours, theirs = shops.require_our_shop(session).id, inner.trimmed_in.shop_id
    known = depths.load_shop_depths(session, [ours, theirs])
    limits = shop_limits.load_limits(session)
    made = inners_in_bores.find_known_bore(inner.trimmed_in, known.get((theirs, inner.system_id)), limits)
    target = target_depths.choose_target_depth(inner.system, known.get((ours, inner.system_id)))
    owned = _plan_inner(plan, inner, made, form, limits)
    unmeasured, doubts = target.unmeasured if target else "", _list_doubts(inner, ball, made, target)
    owned = replace(owned, unmeasured=unmeasured, doubts=doubts)
    chosen = owned.chosen
    sleeve_in, pitch = grips.get_sleeve_od_in(inner.system), (chosen.forward_in, chosen.right_in)
    asked = grips.build_grip(fit, float(ball.around_in), sleeve_in, chosen.depth_in, pitch)
    grip, kept = grips.keep_finished(fit, asked)
    felt = (chosen.felt_forward_in, chosen.felt_right_in)
    thumb = Thumb(owned.hole_in, *felt, owned.oval_in, chosen.oval_deg or 0.0, chosen.depth_in)
    assert plan.bore is not None  # the hardware was checked
    length = plan.inner.length_in if plan.inner else float(inner.system.inner_length_in or 2)
    return replace(
        plan,
        grip=replace(grip, thumb=thumb),
        kept=kept,
        bore=replace(
            plan.bore,
            depth_in=chosen.depth_in,
            depth_half_width_in=owned.half_width_in,
            depth_words=_describe_depth(plan, plan.bore, owned),
            is_depth_assumed=False,
            forward_in=chosen.forward_in,
            right_in=chosen.right_in,
        ),
        notch_deg=_turn_notch(inner.trimmed_in.notch_deg, chosen.turn_deg),
        inner=PlannedInner(owned.outside_in, length),
        unknown=plan.unknown if inner.outside_in else (*plan.unknown, OUTSIDE),
        owned=owned,
    )


def _turn_notch(made_deg: Fraction | None, turn_deg: float) -> Fraction | None:
    return None if made_deg is None else (made_deg + Fraction(str(turn_deg))) % 360


def _describe_depth(plan: Plan, bore: PlannedBore, owned: PlannedOwned) -> str:
    if is_depth_given(plan):
        return bore.depth_words
    return "shallow first, for a trial with the bowler's own inner" if owned.unknown else "for the bowler's own inner"


def is_depth_given(plan: Plan) -> bool:
    """Whether a flange, not the bore, sets how high the inner stands."""
    return plan.system is not None and plan.system.kind == "ball_surface"


def _get_chosen(session: Session, fit: Fit, ball: Ball, form: PlanChoices) -> Inner:
    """The inner chosen, if it can go into this ball with this hardware for this hand."""
    try:
        inner = inners.get_inner(session, form.inner_id or 0)
    except NotFoundError:
        raise InvalidError.at("inner_id", "There is no such inner. Choose one, or a new one.") from None
    bored_for = inner.trimmed_in.hand
    if inner.bowler_id != ball.bowler_id:
        raise InvalidError.at("inner_id", "That inner belongs to another bowler.")
    if inner.retired_at:
        raise InvalidError.at("inner_id", "That inner is retired. Take it back into use first, or choose another.")
    if inner.system_id != form.system_id:
        raise InvalidError.at("inner_id", f"That inner locks into {inner.system.label}: choose that thumb hardware.")
    if inner.system.height_set_by == "slug":
        raise InvalidError.at("inner_id", "A plain slug takes no inner.")
    if bored_for and bored_for != fit.hand:
        raise InvalidError.at("inner_id", f"That inner was made for the {bored_for} hand; this fit is the other's.")
    if form.notch.state != "absent":
        raise InvalidError.at("notch", "The inner decides where its notch points: leave this empty.")
    return inner


def _require_hole(inner: Inner) -> None:
    """Raises InvalidError with what to measure if the felt pitch and the spans cannot be said for an inner."""
    gaps = {
        "the tilt of its hole (measure it at the top and the bottom of the hole)": inner.forward_in is None,
        "its thumb hole (measure it)": inner.hole_in is None,
    }
    missing = "; ".join(words for words, is_gap in gaps.items() if is_gap)
    if missing:
        message = f"Cannot say which bore {inner.label} needs: pitch and spans follow from {missing}."
        raise InvalidError.at("inner_id", message)


def _list_unknown(bore: BoreRecord, made: KnownBore | None) -> tuple[str, ...]:
    """Returns what is not known of the bore that an inner was trimmed in, each with what to measure."""
    gaps = {
        "the pitch of the bore it was trimmed in: read it off the loose inner": bore.forward_in is None,
        "the depth of that bore: measure it, read it off the loose inner, or make a trial fit": made is None,
        "which way the notch of that bore points: look at that ball, or ask the shop": bore.notch_deg is None,
    }
    return tuple(words for words, is_gap in gaps.items() if is_gap)


def _list_doubts(inner: Inner, ball: Ball, made: KnownBore | None, target: TargetDepth | None) -> tuple[str, ...]:
    """Returns in words what the plan counts with although nobody knows it, each once."""
    found = [
        *(made.doubts if made else ()),
        *(f"{doubt}, of our collar" for doubt in (target.doubts if target else ())),
    ]
    if inner.is_tilt_unsaid:
        found.append(f"the tilt of its hole ({STRAIGHT_UNASKED})")
    if ball.circumference_in is None:
        found.append("the circumference of this ball")
    return tuple(dict.fromkeys(found))


def _plan_inner(
    plan: Plan, inner: Inner, made: KnownBore | None, form: PlanChoices, limits: dict[str, SetLimit]
) -> PlannedOwned:
    assert plan.bore is not None  # the hardware was checked
    _require_hole(inner)
    asked, oval_in = plan.grip.require_thumb(), float(inner.oval_in or 0)
    tilt = (float(inner.forward_in or 0), float(inner.right_in or 0))
    shape = made.shape if made else drillings.to_bore_shape(inner.trimmed_in, plan.bore.depth_in)
    piece = OwnedInner(
        float(inner.counted_outside_in), shape, *tilt, oval_deg=float(inner.oval_deg or 0) if oval_in else None
    )
    unknown = _list_unknown(inner.trimmed_in, made)
    chosen, other = _choose_fits(plan, inner, piece, form)
    half = made.half_width_in if made else 0.0
    owned = PlannedOwned(
        inner_id=inner.id,
        fitted_by=form.fitted_by,
        outside_in=piece.outside_in,
        hole_in=float(inner.hole_in or 0),
        oval_in=oval_in,
        tilt_in=tilt,
        made_in=shape if made and not made.possible else None,
        made_words=made.words if made else "",
        made_half_width_in=half,
        half_width_in=math.hypot(half, plan.bore.depth_half_width_in),
        our_depth_in=plan.bore.depth_in,
        unmeasured="",
        lip_in=float(limits["lip"].value_in),
        asked=(asked.hole_in, asked.oval_in, asked.oval_deg, asked.forward_in, asked.right_in),
        chosen=chosen,
        other=None if unknown or _are_alike(chosen, other) else other,
        unknown=unknown,
        possible=made.possible if made else (),
    )
    return _start_shallow(plan, owned) if unknown else owned


def _choose_fits(plan: Plan, inner: Inner, piece: OwnedInner, form: PlanChoices) -> tuple[OwnedFit, OwnedFit]:
    """Returns the bore that is chosen and the other one; felt first over an unknown, as flush cannot be promised."""
    assert plan.bore is not None
    asked, bore = plan.grip.require_thumb(), Bore(plan.grip.circumference_in, plan.bore.bore_in, plan.bore.depth_in)
    felt, oval = FeltPitch(asked.forward_in, asked.right_in), asked.oval_deg if asked.oval_in else None
    depth_in = plan.bore.depth_in if is_depth_given(plan) else None
    if inner.trimmed_in.forward_in is None and form.fitted_by == "flush":
        message = f"Cannot say which bore is flush for {inner.label}: read its bore's pitch off the loose inner first."
        raise InvalidError.at("fitted_by", message)
    try:
        by_feel = _freeze_fit(piece, fit_by_feel(piece, bore, felt, oval), depth_in)
        flush = _freeze_fit(piece, fit_flush(piece, bore, felt, oval), depth_in)
    except CannotBuildError as error:
        message = f"{inner.label} cannot go into this ball: {error.message}."
        raise InvalidError.at("inner_id", message) from None
    return (by_feel, flush) if form.fitted_by == "feel" else (flush, by_feel)


def _start_shallow(plan: Plan, owned: PlannedOwned) -> PlannedOwned:
    """Returns the plan for an inner of unsettled height: as shallow as it may need, with the range of its lips."""
    assert plan.bore is not None
    chosen, made = owned.chosen, owned.possible or ((owned.made_in,) if owned.made_in else ())
    if not made:
        unlipped = replace(chosen, depth_in=owned.our_depth_in, highest_in=None, lowest_in=None)
        return replace(owned, chosen=unlipped)
    pitch = (chosen.forward_in, chosen.right_in)
    fitted = Bore(plan.grip.circumference_in, plan.bore.bore_in, chosen.depth_in, *pitch)
    turns = range(0, 360, _TURN_STEP_DEG)
    depths_in = [collar_depth(owned.outside_in, one, fitted, float(turn)).depth_in for one in made for turn in turns]
    least, most = round(min(depths_in), 6), round(max(depths_in), 6)
    if not is_depth_given(plan):
        fitted = replace(fitted, depth_in=least)
    rim = flushness_range(owned.outside_in, made, [fitted])
    lipped = replace(chosen, depth_in=fitted.depth_in, highest_in=rim.highest_in, lowest_in=rim.lowest_in)
    return replace(owned, chosen=lipped, depths_in=(least, most))


def _freeze_fit(piece: OwnedInner, found: FittedInner, depth_in: float | None) -> OwnedFit:
    """A fit as a plan keeps it: to a millionth of an inch, at its own depth or at the one that a flange gives."""
    forward, right, turn = (round(v, d) for v, d in zip(_list_settings(found), (6, 6, 2), strict=True))
    depth = round(found.collar.depth_in, 6) if depth_in is None else depth_in
    bore = replace(found.bore, forward_in=forward, right_in=right, depth_in=depth)
    rim = flushness(piece.outside_in, piece.made_in, bore, turn)
    return OwnedFit(
        forward_in=forward,
        right_in=right,
        depth_in=depth,
        turn_deg=turn,
        felt_forward_in=round(found.felt.forward_in, 9),
        felt_right_in=round(found.felt.right_in, 9),
        oval_deg=None if found.oval_deg is None else round(found.oval_deg, 6),
        highest_in=rim.highest_in,
        lowest_in=rim.lowest_in,
    )


def _list_settings(found: FittedInner) -> tuple[float, float, float]:
    return found.bore.forward_in, found.bore.right_in, found.collar.turn_deg


def _are_alike(one: OwnedFit, other: OwnedFit) -> bool:
    apart = math.hypot(one.forward_in - other.forward_in, one.right_in - other.right_in)
    turned = abs((one.turn_deg - other.turn_deg + 180) % 360 - 180)
    return apart < _SAME_PITCH_IN and turned < _SAME_TURN_DEG
