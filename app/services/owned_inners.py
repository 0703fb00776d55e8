"""Planning for an inner that the bowler owns: the bore that this very piece needs, and what its rim will do there."""

import math
from dataclasses import dataclass, replace
from fractions import Fraction

from sqlalchemy.orm import Session

from app.calculation.bores import Bore, Flushness, flushness
from app.calculation.errors import CannotBuildError
from app.calculation.grip import Thumb
from app.calculation.inners import FeltPitch
from app.calculation.owned_inners import FittedInner, OwnedInner, fit_by_feel, fit_flush
from app.errors import InvalidError, NotFoundError
from app.measures.wording import inches, inches_exactly, pitch_decimals
from app.models import Ball, Fit, Inner
from app.models.plans import OwnedFit, Plan, PlannedInner, PlannedOwned
from app.schemas.drillings import PlanChoices
from app.services import depths, grips, inners, inners_in_bores, owned_routes, shop_limits, shops, target_depths
from app.services.inners_in_bores import KnownBore
from app.services.shop_limits import SetLimit

_SAME_PITCH_IN = 0.0005
_SAME_TURN_DEG = 0.5
NO_TRIM = "Do not trim this inner: it would sink where it is flush now."


def plan_for_owned(session: Session, plan: Plan, fit: Fit, ball: Ball, form: PlanChoices) -> Plan:
    """A plan for a new inner, made anew for the inner chosen; InvalidError at the field that stands against it."""
    inner = _get_chosen(session, fit, ball, form)
    ours, theirs = shops.require_our_shop(session).id, inner.trimmed_in.shop_id
    known = depths.load_shop_depths(session, [ours, theirs])
    limits = shop_limits.load_limits(session)
    made = inners_in_bores.find_known_bore(inner.trimmed_in, known.get((theirs, inner.system_id)), limits)
    target = target_depths.choose_target_depth(inner.system, known.get((ours, inner.system_id)))
    owned = _plan_inner(plan, inner, _check_known(inner, made), form, limits)
    owned = replace(owned, unmeasured=target.unmeasured if target else "")
    chosen = owned.chosen
    asked = grips.build_grip(
        fit,
        float(ball.circumference_in),
        grips.get_sleeve_od_in(inner.system),
        chosen.depth_in,
        (chosen.forward_in, chosen.right_in),
    )
    grip, kept = grips.keep_finished(fit, asked)
    felt = (chosen.felt_forward_in, chosen.felt_right_in)
    thumb = Thumb(owned.hole_in, *felt, owned.oval_in, chosen.oval_deg or 0.0, chosen.depth_in)
    assert plan.bore is not None and inner.trimmed_in.notch_deg is not None  # both checked
    length = plan.inner.length_in if plan.inner else float(inner.system.inner_length_in or 2)
    return replace(
        plan,
        grip=replace(grip, thumb=thumb),
        kept=kept,
        bore=replace(
            plan.bore,
            depth_in=chosen.depth_in,
            depth_half_width_in=owned.half_width_in,
            depth_words=plan.bore.depth_words if is_depth_given(plan) else "for the bowler's own inner",
            is_depth_assumed=False,
            forward_in=chosen.forward_in,
            right_in=chosen.right_in,
        ),
        notch_deg=(inner.trimmed_in.notch_deg + Fraction(str(chosen.turn_deg))) % 360,
        inner=PlannedInner(owned.outside_in, length),
        owned=owned,
    )


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


def _check_known(inner: Inner, made: KnownBore | None) -> KnownBore:
    """The bore that an inner was trimmed in; InvalidError with what to measure where something of it is not known."""
    bore = inner.trimmed_in
    gaps = {
        "the pitch of the bore it was trimmed in (read it off the loose inner)": bore.forward_in is None,
        "which way the notch of that bore points (look at the ball, or ask the shop)": bore.notch_deg is None,
        "the depth of that bore (measure it, read it off the loose inner, or make a trial fit)": made is None,
        "the tilt of its hole (measure it at the top and the bottom of the hole)": inner.forward_in is None,
        "its thumb hole (measure it)": inner.hole_in is None,
    }
    missing = "; ".join(words for words, is_gap in gaps.items() if is_gap)
    if missing or made is None:
        raise InvalidError.at("inner_id", f"No bore can be worked out for {inner.label}. Not known: {missing}.")
    return made


def _plan_inner(
    plan: Plan, inner: Inner, made: KnownBore, form: PlanChoices, limits: dict[str, SetLimit]
) -> PlannedOwned:
    assert plan.bore is not None  # the hardware was checked
    asked, oval_in = plan.grip.thumb, float(inner.oval_in or 0)
    tilt = (float(inner.forward_in or 0), float(inner.right_in or 0))
    piece = OwnedInner(
        float(inner.outside_in), made.shape, *tilt, oval_deg=float(inner.oval_deg or 0) if oval_in else None
    )
    bore = Bore(plan.grip.circumference_in, plan.bore.bore_in, plan.bore.depth_in)
    felt, oval = FeltPitch(asked.forward_in, asked.right_in), asked.oval_deg if asked.oval_in else None
    depth_in = plan.bore.depth_in if is_depth_given(plan) else None
    try:
        by_feel = _freeze_fit(piece, fit_by_feel(piece, bore, felt, oval), depth_in)
        flush = _freeze_fit(piece, fit_flush(piece, bore, felt, oval), depth_in)
    except CannotBuildError as error:
        message = f"{inner.label} cannot go into this ball: {error.message}."
        raise InvalidError.at("inner_id", message) from None
    chosen, other = (by_feel, flush) if form.fitted_by == "feel" else (flush, by_feel)
    unsaid = {"the pitch of its bore": inner.trimmed_in.is_pitch_unsaid, "the tilt of its hole": inner.is_tilt_unsaid}
    return PlannedOwned(
        inner_id=inner.id,
        fitted_by=form.fitted_by,
        outside_in=piece.outside_in,
        hole_in=float(inner.hole_in or 0),
        oval_in=oval_in,
        tilt_in=tilt,
        made_in=made.shape,
        made_words=made.words,
        made_half_width_in=made.half_width_in,
        half_width_in=math.hypot(made.half_width_in, plan.bore.depth_half_width_in),
        our_depth_in=plan.bore.depth_in,
        unmeasured="",
        lip_in=float(limits["lip"].value_in),
        asked=(asked.hole_in, asked.oval_in, asked.oval_deg, asked.forward_in, asked.right_in),
        chosen=chosen,
        other=None if _are_alike(chosen, other) else other,
        unsaid=tuple(words for words, is_unsaid in unsaid.items() if is_unsaid),
    )


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


# As a plan shows it ---------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class OwnedRim:
    """What the rim of a planned owned inner will do, as a verdict and in words what to do about it."""

    flushness: Flushness
    verdict: str
    advice: tuple[str, ...]


def predict_rim(plan: Plan) -> OwnedRim | None:
    """The rim of the inner in the bore as planned; None where no owned inner goes in."""
    owned, rim = plan.owned, owned_routes.calculate_rim(plan)
    if owned is None or rim is None:
        return None
    verdict = "measure" if owned.unmeasured else inners_in_bores.judge(rim, owned.half_width_in, owned.lip_in)
    if verdict in {"proud", "sunk"} and min(rim.highest_in, -rim.lowest_in) > owned.lip_in:
        verdict = "leans"  # over the limit both ways: no depth cures it
    return OwnedRim(rim, verdict, tuple(_list_advice(plan, owned, rim, verdict)))


def _list_advice(plan: Plan, owned: PlannedOwned, rim: Flushness, verdict: str) -> list[str]:
    """What can be undone first; trimming the owned inner is never among it."""
    lines = [owned.unmeasured] if owned.unmeasured else []
    deeper = owned.chosen.depth_in - owned.our_depth_in
    if plan.system and plan.system.kind == "bore_floor" and abs(deeper) >= 0.0005:
        how = "deeper than for a new inner" if deeper > 0 else "shallower than for a new inner: shim under the collar"
        lines.append(f"Set the collar {abs(deeper):.3f} in {how}.")
    worst = max(rim.highest_in, -rim.lowest_in)
    if worst > owned.lip_in:
        lines.append(
            f"Flush cannot be had with this bore: its rim stands {inches(max(rim.highest_in, 0))} proud and "
            f"{inches(max(-rim.lowest_in, 0))} sunk at the best depth, and the limit is {inches(owned.lip_in)}."
        )
        lines += _list_other_ways(owned)
    if verdict != "flush":
        lines.append(
            "Lock it in while the sleeve is dry and read its rim. Where it is sunk all round, shim under the sleeve by "
            "that much; where it leans, turn the notch. Both can be undone until the glue has set."
        )
    return [*lines, NO_TRIM] if verdict != "flush" else [*lines, "Lock it in and feel round the rim."]


def _list_other_ways(owned: PlannedOwned) -> list[str]:
    """Another turn or pitch that makes the lips smaller, with the difference that the thumb would feel."""
    other = owned.other
    if other is None or other.highest_in - other.lowest_in >= owned.chosen.highest_in - owned.chosen.lowest_in:
        return ["No other bore makes its lips smaller: a new inner trimmed in this ball is the remedy."]
    forward, right = other.felt_forward_in - owned.asked[3], other.felt_right_in - owned.asked[4]
    return [
        f"Bored {pitch_decimals(other.forward_in, other.right_in)} and {inches_exactly(other.depth_in)} deep instead, "
        f"its lips are {inches(max(other.highest_in, -other.lowest_in))}; felt then differs from the fit by "
        f"{pitch_decimals(forward, right)}.",
        "Or lock in a new inner trimmed in this ball.",
    ]
