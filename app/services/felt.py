"""Two drillings compared by feel, and an inner trimmed in the first in the second."""

from collections.abc import Iterable
from dataclasses import dataclass

from sqlalchemy import select
from sqlalchemy.orm import Session, joinedload

from app.calculation.bores import Flushness, FlushnessRange, flush_depth_in, flushness, flushness_range
from app.calculation.grip import FingerName, SolvedGrip
from app.calculation.inners import FeltPitch, felt_oval_deg, felt_pitch
from app.calculation.tolerances import judge_rim
from app.measures.wording import VERDICT_WORDS, inches, pitch_change, proud_words
from app.models import Drilling, Inner
from app.models.plans import Plan
from app.services import depths, inners_in_bores, measurements, shop_limits
from app.services.differences import Difference
from app.services.transfers import compare_lengths
from app.services.unsettled import OUTSIDE, name_outside
from app.services.work_outs import work_out


@dataclass(frozen=True)
class Felt:
    """What a hand feels in one drilling: finished spans (or reaches), thumb pitch with the inner, notch.

    `thumb` is None without a thumb hole; `solved` is the whole grip, as drilled if measured.
    """

    solved: SolvedGrip
    spans: dict[FingerName, float]
    thumb: FeltPitch | None
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
    notch = of.bore.notch_deg if of.bore else of.current_plan.notch_deg
    return Felt(
        solved,
        {name: spans.finished_in for name, spans in solved.spans.items()},
        _work_out_felt_thumb(of.current_plan),
        worked.solved.grip.circumference_in,
        None if notch is None else float(notch),
        "as drilled" if measured else "as specified",
    )


def _work_out_felt_thumb(plan: Plan) -> FeltPitch | None:
    thumb, bore = plan.grip.thumb, plan.bore
    if thumb is None or bore is None:
        return FeltPitch(thumb.forward_in, thumb.right_in) if thumb else None
    tilt = (thumb.forward_in - bore.forward_in, thumb.right_in - bore.right_in)
    return felt_pitch(plan.grip.circumference_in, bore.forward_in, bore.right_in, *tilt)


def compare_drillings(session: Session, a: Drilling, b: Drilling) -> list[Difference]:
    """Returns two drillings compared by feel, and how an inner trimmed in the first sits in the second."""
    one, other = work_out_felt(a), work_out_felt(b)
    lines = []
    if one and other and a.current_plan and b.current_plan:
        lines.append(Difference("numbers", one.source, other.source, ""))
        grips_of = a.current_plan.grip, b.current_plan.grip
        lines += _compare_spans(one, other)
        if one.thumb and other.thumb:
            lines += _compare_pitches(one.thumb, other.thumb, one.circumference_in)
        if any(grip.thumb and grip.thumb.oval_in for grip in grips_of):
            lines += _compare_ovals(a.current_plan, b.current_plan)
    lines += _compare_same_inner(session, a, b)
    return lines


def _compare_spans(one: Felt, other: Felt) -> list[Difference]:
    """Compares finished spans, or reaches; where one is a span and the other a reach, they are two things."""
    lines, is_alike = [], (one.thumb is None) == (other.thumb is None)
    said = [f"{'span' if felt.thumb else 'reach'}" for felt in (one, other)]
    names: tuple[FingerName, ...] = ("middle", "ring")
    for name in names:
        pair = one.spans.get(name), other.spans.get(name)
        if is_alike and None not in pair:
            lines.append(compare_lengths(f"finished {said[0]} to {name}", *pair))
            continue
        shown = [f"no {name} hole" if v is None else f"{w} {inches(v)}" for v, w in zip(pair, said, strict=True)]
        if pair != (None, None):
            lines.append(Difference(f"finished, to {name}", shown[0], shown[1], "not the same grip"))
    return lines


def _compare_pitches(one: FeltPitch, other: FeltPitch, circumference_in: float) -> list[Difference]:
    """Compares the felt thumb pitch: each axis in 32nds and degrees, and where the thumb now points."""
    lines = []
    for what, old, new, more, less in (
        ("thumb pitch, forward or reverse", one.forward_in, other.forward_in, "forward", "reverse"),
        ("thumb pitch, left or right", one.right_in, other.right_in, "right", "left"),
    ):
        words = pitch_change(old, new, more, less, circumference_in)
        if words:
            words += f": the thumb now points more {more if new > old else less}"
        pair = (_format_pitch(old, more, less), _format_pitch(new, more, less))
        lines.append(Difference(what, *pair, words))
    return lines


def _format_pitch(value: float, more: str, less: str) -> str:
    return f"{inches(abs(value))} {more if value > 0 else less}" if abs(value) > 1e-9 else "straight"


def _compare_ovals(a: Plan, b: Plan) -> list[Difference]:
    old, new = a.grip.thumb, b.grip.thumb
    if old is None or new is None:
        return []
    turned = (new.oval_deg - old.oval_deg + 90) % 180 - 90
    words = "" if abs(turned) < 0.05 else f"turned {abs(turned):g}° {'clockwise' if turned > 0 else 'anticlockwise'}"
    if not (old.oval_in and new.oval_in):  # a round hole has no direction
        words = "changed"
    shown = [f"{inches(t.oval_in)} at {t.oval_deg:g}°" if t.oval_in else "round" for t in (old, new)]
    return [Difference("thumb oval as specified", shown[0], shown[1], words)]


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
    thumb = a.current_plan.grip.thumb if a.current_plan else None
    oval = felt_oval_deg(thumb.oval_deg, turn) if thumb else None
    then = f", its oval then at {oval:g}°" if oval is not None else ""
    way = f"{turn:g}° clockwise" if turn <= 180 else f"{360 - turn:g}° anticlockwise"
    return Difference("the same inner is turned", "0°", way, f"turned by the notch{then}")
