"""Transfers: the same finished fit on other hardware, and two drillings compared by feel."""

from collections.abc import Iterable
from dataclasses import dataclass, replace

from sqlalchemy import select
from sqlalchemy.orm import Session, joinedload

from app.calculation.bores import Flushness, FlushnessRange, flush_depth_in, flushness, flushness_range
from app.calculation.errors import CannotBuildError
from app.calculation.grip import Grip, SolvedGrip, place_in
from app.calculation.grip_solver import solve_grip
from app.calculation.inners import FeltPitch, felt_oval_deg, felt_pitch
from app.calculation.tolerances import judge_rim
from app.errors import InvalidError
from app.measures.wording import VERDICT_WORDS, in_64ths, inches, pitch_change, proud_words
from app.models import Drilling, Fit, Inner
from app.models.plans import Plan
from app.schemas.fits import TransferForm
from app.services import depths, grips, inners_in_bores, measurements, shop_limits, systems
from app.services.differences import Difference
from app.services.unsettled import OUTSIDE, name_outside
from app.services.work_outs import work_out


@dataclass(frozen=True)
class Transfer:
    """A fit on its own and on other hardware, with the differences in 64ths."""

    before: SolvedGrip
    after: SolvedGrip
    moved: list[Difference]


def compare_hardware(session: Session, fit: Fit, form: TransferForm) -> Transfer:
    """Solves the cut and sleeve-to-cut numbers that keep finished spans and bridge; raises InvalidError."""
    if not grips.can_solve(fit):
        raise InvalidError.at("", f"Unknown in fit {fit.letter}: {', '.join(grips.list_unknown(fit)) or 'something'}.")
    before = grips.solve(fit, fit.system)
    system = systems.get_system(session, form.system_id) if form.system_id else None
    for hardware in (system, fit.system):
        grips.require_known_sleeve(hardware)
    try:
        after = solve_grip(_ask_on_other_hardware(before, form, grips.get_sleeve_od_in(system)))
    except CannotBuildError as error:
        raise grips.to_invalid(error) from None
    if after.bridge_cut_in < 0:
        raise InvalidError.at("middle_cut", "With these bores the finger holes run into each other at the surface.")
    return Transfer(before, after, _list_moved(before, after))


def _ask_on_other_hardware(before: SolvedGrip, form: TransferForm, sleeve_od_in: float | None) -> Grip:
    grip = before.grip
    cuts = {}
    for name, reading in (("middle", form.middle_cut), ("ring", form.ring_cut)):
        finger = getattr(grip, name)
        cut = float(reading.value) if reading.value is not None else finger.cut_in
        if cut < finger.hole_in:
            raise InvalidError.at(f"{name}_cut", "The bore is smaller than the finished hole inside it.")
        spans = before.middle_spans if name == "middle" else before.ring_spans
        cuts[name] = replace(finger, cut_in=cut, span_in=spans.finished_in)
    thumb = grip.thumb
    if form.thumb_hole.value:
        oval = form.thumb_hole.value
        thumb = replace(thumb, hole_in=float(oval.hole_in), oval_in=float(oval.oval_in), oval_deg=float(oval.oval_deg))
    around = form.circumference.value
    return replace(
        grip,
        thumb=thumb,
        middle=cuts["middle"],
        ring=cuts["ring"],
        circumference_in=float(around) if around else grip.circumference_in,
        sleeve_od_in=sleeve_od_in,
        span_edges="finished",
        bridge_in=before.bridge_finished_in,
        bridge_edges="finished",
    )


def _list_moved(before: SolvedGrip, after: SolvedGrip) -> list[Difference]:
    lines = []
    for name in ("middle", "ring"):
        old, new = getattr(before, f"{name}_spans"), getattr(after, f"{name}_spans")
        lines.append(_compare_lengths(f"finished span to {name}", old.finished_in, new.finished_in))
        lines.append(_compare_lengths(f"cut span to {name}", old.cut_in, new.cut_in))
        lines.append(_compare_lengths(f"sleeve to cut, {name}", old.sleeve_to_cut_in, new.sleeve_to_cut_in))
    lines.append(
        _compare_lengths("finished bridge", before.bridge_finished_in, after.bridge_finished_in, "wider", "narrower")
    )
    lines.append(_compare_lengths("cut bridge", before.bridge_cut_in, after.bridge_cut_in, "wider", "narrower"))
    for name in ("thumb", "middle", "ring"):
        old_at, new_at = place_in(getattr(before, name)), place_in(getattr(after, name))
        lines.append(
            _compare_lengths(f"{name} centre, along", old_at[0], new_at[0], "towards the fingers", "towards the thumb")
        )
        lines.append(_compare_lengths(f"{name} centre, across", old_at[1], new_at[1], "to the right", "to the left"))
    return lines


def _compare_lengths(
    what: str, old: float | None, new: float | None, more: str = "longer", less: str = "shorter"
) -> Difference:
    if old is None or new is None:
        return Difference(what, _format_length(old), _format_length(new), "" if old is new else "changed")
    words = in_64ths(new - old, more, less)
    return Difference(what, _format_length(old), _format_length(new), "" if words == "even" else words)


def _format_length(value: float | None) -> str:
    return "no sleeve" if value is None else inches(value)


# In felt terms --------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Felt:
    """What a hand feels in one drilling: finished spans, thumb pitch with the inner, notch."""

    spans: tuple[float, float]
    thumb: FeltPitch
    circumference_in: float
    notch_deg: float | None
    source: str


def work_out_felt(of: Drilling) -> Felt | None:
    """Returns the feel as built if measured, else as specified; None for a drilling without a plan."""
    if of.current_plan is None:
        return None
    measured = measurements.compare_built(of)
    worked = work_out(of.current_plan)
    solved = measured.as_drilled if measured else worked.solved
    grip, bore = worked.solved.grip, of.current_plan.bore
    thumb = FeltPitch(grip.thumb.forward_in, grip.thumb.right_in)
    if bore:
        tilt = (grip.thumb.forward_in - bore.forward_in, grip.thumb.right_in - bore.right_in)
        thumb = felt_pitch(grip.circumference_in, bore.forward_in, bore.right_in, *tilt)
    notch = of.bore.notch_deg if of.bore else of.current_plan.notch_deg
    return Felt(
        (solved.middle_spans.finished_in, solved.ring_spans.finished_in),
        thumb,
        grip.circumference_in,
        None if notch is None else float(notch),
        "as drilled" if measured else "as specified",
    )


def compare_drillings(session: Session, a: Drilling, b: Drilling) -> list[Difference]:
    """Returns two drillings compared by feel, and how an inner trimmed in the first sits in the second."""
    one, other = work_out_felt(a), work_out_felt(b)
    lines = []
    if one and other and a.current_plan and b.current_plan:
        lines.append(Difference("numbers", one.source, other.source, ""))
        for i, name in enumerate(("middle", "ring")):
            lines.append(_compare_lengths(f"finished span to {name}", one.spans[i], other.spans[i]))
        lines += _compare_pitches(one, other)
        if a.current_plan.grip.thumb.oval_in or b.current_plan.grip.thumb.oval_in:
            lines.append(_compare_ovals(a.current_plan, b.current_plan))
    lines += _compare_same_inner(session, a, b)
    return lines


def _compare_pitches(one: Felt, other: Felt) -> list[Difference]:
    """Compares the felt thumb pitch: each axis in 32nds and degrees, and where the thumb now points."""
    lines = []
    for what, old, new, more, less in (
        ("thumb pitch, forward or reverse", one.thumb.forward_in, other.thumb.forward_in, "forward", "reverse"),
        ("thumb pitch, left or right", one.thumb.right_in, other.thumb.right_in, "right", "left"),
    ):
        words = pitch_change(old, new, more, less, one.circumference_in)
        if words:
            words += f": the thumb now points more {more if new > old else less}"
        pair = (_format_pitch(old, more, less), _format_pitch(new, more, less))
        lines.append(Difference(what, *pair, words))
    return lines


def _format_pitch(value: float, more: str, less: str) -> str:
    return f"{inches(abs(value))} {more if value > 0 else less}" if abs(value) > 1e-9 else "straight"


def _compare_ovals(a: Plan, b: Plan) -> Difference:
    old, new = a.grip.thumb, b.grip.thumb
    turned = (new.oval_deg - old.oval_deg + 90) % 180 - 90
    words = "" if abs(turned) < 0.05 else f"turned {abs(turned):g}° {'clockwise' if turned > 0 else 'anticlockwise'}"
    shown = [f"{inches(t.oval_in)} at {t.oval_deg:g}°" if t.oval_in else "round" for t in (old, new)]
    return Difference("thumb oval as specified", shown[0], shown[1], words)


def _tell_verdict(verdict: str) -> Difference:
    words = VERDICT_WORDS[verdict]
    return Difference(
        "the first's inner in the second, with the doubt of both depths",
        "flush",
        words,
        {"flush": ""}.get(verdict, words),
    )


def _describe_remedy(found: Flushness, wanted_depth_in: float, lip_in: float) -> str:
    """Describes the collar setting that brings a rim flush, and a tilt that no depth brings within the limit."""
    tilt = max(found.highest_in - found.centre_in, found.centre_in - found.lowest_in)
    is_tilted = tilt > lip_in
    words = []
    if proud_words(found.centre_in) != "flush":
        words.append(f"{'its centre ' if is_tilted else ''}flush with the collar at {inches(wanted_depth_in)}")
    if is_tilted:
        words.append("no depth cures the tilt")
    return "; ".join(words)


def _compare_same_inner(session: Session, a: Drilling, b: Drilling) -> list[Difference]:
    """Compares an inner trimmed in the first drilling with itself in the second: lip, turn of the oval, felt pitch."""
    if not a.bore or not b.bore or a.system_id != b.system_id:
        return []
    known = depths.load_shop_depths(session, {a.shop_id, b.shop_id})
    limits = shop_limits.load_limits(session)
    made = inners_in_bores.find_known_bore(a.bore, known.get((a.shop_id, a.system_id or 0)), limits)
    fitted = inners_in_bores.find_known_bore(b.bore, known.get((b.shop_id, b.system_id or 0)), limits)
    if made is None or fitted is None:
        return [Difference("the first's inner in the second", "", "", "unknown: a bore depth is not known")]
    half, lip_in = (made.half_width_in**2 + fitted.half_width_in**2) ** 0.5, float(limits["lip"].value_in)
    outside, assumed = _find_outside_in(session, a)
    doubts = (*assumed, *inners_in_bores.describe_doubts(made, fitted))
    if gaps := inners_in_bores.list_gaps(made, fitted):
        reach = flushness_range(outside, made.possible or (made.shape,), fitted.possible or (fitted.shape,))
        verdict = judge_rim(reach.lowest_in, reach.highest_in, half, lip_in, is_range=True)
        return [_tell_verdict(verdict), _describe_range(reach, gaps), *_list_doubts(doubts)]
    turn = ((fitted.notch_deg or 0.0) - (made.notch_deg or 0.0)) % 360
    result = flushness(outside, made.shape, fitted.shape, turn)
    lip = proud_words(result.centre_in)
    judged = judge_rim(result.lowest_in, result.highest_in, half, lip_in)
    verdict = "measure" if doubts and judged == "flush" else judged
    wanted = flush_depth_in(made.shape, fitted.shape)
    lines = [
        _tell_verdict(verdict),
        Difference("the first's inner in the second, centre", "flush", lip, "" if lip == "flush" else lip),
        Difference(
            "the same inner, highest and lowest of its rim",
            "flush",
            f"{proud_words(result.highest_in)}, {proud_words(result.lowest_in)}",
            "" if verdict == "flush" else _describe_remedy(result, wanted, lip_in),
        ),
        *_list_doubts(doubts),
    ]
    return [*lines, _describe_turn(a, turn)] if turn else lines


def _describe_range(reach: FlushnessRange, gaps: Iterable[str]) -> Difference:
    rim = f"from {proud_words(reach.lowest_in)} to {proud_words(reach.highest_in)}"
    words = f"not known: {', and '.join(gaps)}"
    return Difference("the first's inner in the second, anywhere on its rim", "flush", rim, words)


def _list_doubts(doubts: Iterable[str]) -> list[Difference]:
    return [Difference("not settled", "", "", doubt) for doubt in doubts]


def _find_outside_in(session: Session, of: Drilling) -> tuple[float, tuple[str, ...]]:
    """Returns (outside of the inner that was trimmed in a drilling's bore, what is assumed of it in words)."""
    plan = of.current_plan
    if plan and plan.inner and OUTSIDE not in plan.unknown:
        return plan.inner.outside_in, ()
    own = select(Inner).where(Inner.trimmed_in_id == of.bore_id).options(joinedload(Inner.system))
    found = session.scalars(own.order_by(Inner.id.desc()).limit(1)).first()
    if found is not None:
        return float(found.counted_outside_in), tuple(
            f"Not known: {words}. Measure it." for words in name_outside(found)
        )
    usual = float(depths.USUAL_BORE_IN) - 0.25
    return usual, (f"The first's inner is not known: its outside counts as {inches(usual)}, ASSUMED. Measure it.",)


def _describe_turn(a: Drilling, turn: float) -> Difference:
    oval = felt_oval_deg(a.current_plan.grip.thumb.oval_deg, turn) if a.current_plan else None
    then = f", its oval then at {oval:g}°" if oval is not None else ""
    way = f"{turn:g}° clockwise" if turn <= 180 else f"{360 - turn:g}° anticlockwise"
    return Difference("the same inner is turned", "0°", way, f"turned by the notch{then}")
