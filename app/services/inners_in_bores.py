"""Composes inners with bores: how an inner sits, the pitch felt, and advice; a range if something is unknown.

An inner was trimmed to the ball's surface in one bore: there it is flush, however badly that bore's depth is known. In
every other bore, of the same shop too, the doubts of both depths count.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace

from app.calculation import bores
from app.calculation.depths import NORMAL_FACTOR
from app.calculation.errors import CannotBuildError
from app.calculation.inners import FeltPitch, felt_oval_deg, felt_pitch
from app.calculation.tolerances import floored_doubt_in, judge_rim
from app.errors import InvalidError
from app.measures.lengths import is_unknown
from app.models import Ball, Bore, Drilling, Inner
from app.services import drillings, unsettled
from app.services.known_depths import ShopDepth
from app.services.shop_limits import SetLimit, read_depth_doubt_in
from app.services.unsettled import Unsettled, list_doubts, predict_range, settle_range


@dataclass(frozen=True)
class KnownBore:
    """A bore with its collar depth: centre, half of its 95 % interval, and source.

    `possible` holds the bores it may be if its pitch is unknown, else it is empty. `unmeasured` says what to do about a
    depth that was neither measured nor told: no verdict can rest on it. `doubts` names what the shape or the depth
    counts with although nobody knows it: nothing over it is green.
    """

    shape: bores.Bore
    half_width_in: float
    words: str
    notch_deg: float | None
    possible: tuple[bores.Bore, ...] = ()
    unmeasured: str = ""
    doubts: tuple[str, ...] = ()

    @property
    def depth_half_in(self) -> float:
        """Half width of its collar depth's interval, widened for an unknown pitch."""
        depths_in = [bore.depth_in for bore in self.possible] or [0.0]
        return self.half_width_in + (max(depths_in) - min(depths_in)) / 2


@dataclass(frozen=True)
class InnerInBore:
    """One inner in one bore: rim, felt pitch and oval, the interval's half width, and advice.

    `felt` is None if the tilt of the hole inside the inner is unknown. `doubts` names what inner and bores count with
    although nobody knows it: no cut is proposed over it. In its own bore nothing of the depth counts, and
    the depths are meaningless where the bore's is unknown.
    """

    flushness: bores.Flushness
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
    is_own_bore: bool = False
    doubts: tuple[str, ...] = ()


def find_known_bore(bore: Bore, known: ShopDepth | None, limits: dict[str, SetLimit]) -> KnownBore | None:
    """Returns the bore with its measured collar depth, else with its shop's usual one; None if neither is known."""
    if (found := _find_known_bore(bore, known, limits)) is None:
        return None
    own = known.of_bore(bore.id) if known else None
    is_read = bore.depth_in is not None and (own is None or bore.datum in bores.DATUMS)
    of_depth = own.doubts if own else known.doubts if known else ()
    if own is None and is_unknown((bore.typed or {}).get("depth", "")):
        of_depth = (*of_depth, "its depth, which counts as its shop's usual one")
    if is_read:
        of_depth = () if bore.datum in bores.DATUMS else ("what its depth was measured from",)
    return replace(found, doubts=(*list_doubts(bore), *of_depth))


def _find_known_bore(bore: Bore, known: ShopDepth | None, limits: dict[str, SetLimit]) -> KnownBore | None:
    """Returns a known bore without its doubts.

    A measured depth has the doubt its maker said, or of one read here, and more if its datum is unknown. An unmeasured
    bore counts as its shop's next ball.
    """
    notch = None if bore.notch_deg is None else float(bore.notch_deg)
    own = known.of_bore(bore.id) if known else None
    if bore.forward_in is None:
        return _find_pitchless_bore(bore, known, limits, notch)
    if own and (bore.depth_in is None or bore.datum not in bores.DATUMS):
        return KnownBore(drillings.to_bore_shape(bore, own.depth_in), own.half_width_in, own.words, notch)
    if bore.depth_in is not None:
        read = drillings.to_bore_shape(bore, bore.depth_in)
        if bore.datum in bores.DATUMS:
            depth = bores.collar_depth_in(read, bore.datum)
            return KnownBore(
                replace(read, depth_in=depth), _find_read_half_in(bore, limits), "measured in this ball", notch
            )
        low, high = bores.collar_depth_range_in(read)
        words = "measured, but nobody knows from what"
        half = math.hypot((high - low) / 2, _find_read_half_in(bore, limits))
        return KnownBore(replace(read, depth_in=(low + high) / 2), half, words, notch)
    if known is None:
        return None
    shape = drillings.to_bore_shape(bore, known.estimate.depth_in)
    return KnownBore(shape, known.next_half_width_in, f"{bore.shop.name} usually bores so", notch)


def _find_read_half_in(bore: Bore, limits: dict[str, SetLimit]) -> float:
    """Returns half of the 95 % interval of a depth read in one ball, inches: as its maker said, or by our study."""
    said, spread = bore.depth_u_in, "collar_spread" if bore.shop.is_ours else "ball_spread"
    return NORMAL_FACTOR * (read_depth_doubt_in(limits, spread) if said is None else floored_doubt_in(float(said)))


def _find_pitchless_bore(
    bore: Bore, known: ShopDepth | None, limits: dict[str, SetLimit], notch: float | None
) -> KnownBore | None:
    """Returns a bore of unknown pitch: every bore it may be, each with the collar depth that follows."""
    own = known.of_bore(bore.id) if known else None
    if own and (bore.depth_in is None or bore.datum not in bores.DATUMS):
        read = drillings.to_bore_shape(bore, own.depth_in)
        possible, half, words = bores.possible_bores(read, "collar"), own.half_width_in, own.words
    elif bore.depth_in is not None:
        read = drillings.to_bore_shape(bore, bore.depth_in)
        datums = [datum for datum in bores.DATUMS if bore.datum in {datum, "unknown"}]
        possible = tuple(one for datum in datums for one in bores.possible_bores(read, datum))
        half = _find_read_half_in(bore, limits)
        words = "measured in this ball, its pitch not known"
    elif known is not None:
        read = drillings.to_bore_shape(bore, known.estimate.depth_in)
        possible, half = bores.possible_bores(read, "collar"), known.next_half_width_in
        words = f"{bore.shop.name} usually bores so"
    else:
        return None
    depths_in = [one.depth_in for one in possible]
    return KnownBore(replace(read, depth_in=(min(depths_in) + max(depths_in)) / 2), half, words, notch, possible)


_NO_PITCH = "the pitch of this bore"
_NO_NOTCH = "which way the notch of this bore points"


def list_gaps(made: KnownBore, fitted: KnownBore) -> tuple[str, ...]:
    """Returns in words what is unknown of two bores and decides how an inner from one sits in the other."""
    gaps = {
        "the pitch of the bore it was trimmed in": bool(made.possible),
        _NO_PITCH: bool(fitted.possible),
        "which way the notch of the bore it was trimmed in points": made.notch_deg is None,
        _NO_NOTCH: fitted.notch_deg is None,
    }
    return tuple(words for words, is_gap in gaps.items() if is_gap)


def describe_doubts(made: KnownBore, fitted: KnownBore) -> tuple[str, ...]:
    """Returns what to measure before a prediction over two bores settles anything."""
    lines = [f"Where it was trimmed, not known: {doubt}. Measure or ask." for doubt in made.doubts]
    return (*lines, *(f"Where it is to sit, not known: {doubt}. Measure or ask." for doubt in fitted.doubts))


def sit_in_bore(
    of: Inner, bore: Bore, made: KnownBore | None, fitted: KnownBore | None, lip_in: float
) -> InnerInBore | Unsettled | None:
    """Returns how an inner sits in a recorded bore; None if the depth of that bore or of its own is unknown.

    In the very bore it was trimmed in, and in no other of that shop, no doubt of a depth counts: it was cut there to
    the ball's surface. Over an unknown pitch or notch its rim is the same, but nothing is green.
    """
    if bore.id is not None and bore.id == of.trimmed_in_id:
        return _sit_at_home(of, bore, lip_in)
    return None if made is None or fitted is None else compose(of, made, fitted, lip_in)


_FLUSH_ALL_ROUND = bores.Flushness(0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, heights_in=(0.0,) * bores.RIM_STEPS)


def _sit_at_home(of: Inner, bore: Bore, lip_in: float) -> InnerInBore | Unsettled:
    gaps = {_NO_PITCH: bore.forward_in is None, _NO_NOTCH: bore.notch_deg is None}
    gaps |= dict.fromkeys(list_doubts(bore), True)
    unknown = tuple(words for words, is_gap in gaps.items() if is_gap)
    if unknown:
        return settle_range(bores.FlushnessRange((0.0, 0.0), 0.0, 0.0), 0.0, unknown, None, lip_in, is_own_bore=True)
    shape = drillings.to_bore_shape(bore, bore.depth_in or 0)
    verdict = judge_rim(0.0, 0.0, 0.0, lip_in)
    return InnerInBore(
        flushness=_FLUSH_ALL_ROUND,
        half_width_in=0.0,
        felt=_calculate_felt(of, shape, 0.0),
        felt_oval_deg=float(of.oval_deg or 0) if of.oval_in else None,
        turn_deg=0.0,
        made=shape,
        fitted=shape,
        wanted_depth_in=shape.depth_in,
        tilt_left_in=0.0,
        verdict=verdict,
        advice=_list_advice(verdict, 0.0, 0.0, 0.0, lip_in),
        is_own_bore=True,
    )


def compose(of: Inner, made: KnownBore, fitted: KnownBore, lip_in: float) -> InnerInBore | Unsettled:
    """Returns how an inner trimmed in one bore sits in another, what is felt, and advice; a range if unsettled."""
    half = (made.half_width_in**2 + fitted.half_width_in**2) ** 0.5
    outside, doubts = float(of.counted_outside_in), describe_doubts(made, fitted)
    gaps = list_gaps(made, fitted)
    if gaps:
        felt = None if fitted.possible or of.forward_in or of.right_in else _calculate_felt(of, fitted.shape, 0.0)
        either = (made.possible or (made.shape,), fitted.possible or (fitted.shape,))
        found = predict_range(outside, either, half, (*gaps, *unsettled.name_outside(of)), felt, lip_in)
        verdict = "measure" if fitted.unmeasured else found.verdict
        return replace(found, verdict=verdict, advice=(*filter(None, (fitted.unmeasured,)), *doubts, *found.advice))
    turn = ((fitted.notch_deg or 0.0) - (made.notch_deg or 0.0)) % 360
    try:
        flushness = bores.flushness(outside, made.shape, fitted.shape, turn)
    except CannotBuildError as error:
        raise InvalidError.at("", error.message) from None
    wanted = bores.flush_depth_in(made.shape, fitted.shape)
    tilt = max(flushness.highest_in - flushness.centre_in, flushness.centre_in - flushness.lowest_in)
    doubts += unsettled.list_outside_doubts(of, tilt)
    judged = judge_rim(flushness.lowest_in, flushness.highest_in, half, lip_in)
    verdict = "measure" if fitted.unmeasured or (doubts and judged == "flush") else judged
    advice = _list_advice(verdict, flushness.centre_in, wanted - fitted.shape.depth_in, tilt, lip_in)
    return InnerInBore(
        flushness=flushness,
        half_width_in=half,
        felt=_calculate_felt(of, fitted.shape, turn),
        felt_oval_deg=felt_oval_deg(float(of.oval_deg or 0), turn) if of.oval_in else None,
        turn_deg=turn,
        made=made.shape,
        fitted=fitted.shape,
        wanted_depth_in=wanted,
        tilt_left_in=tilt,
        verdict=verdict,
        advice=(*filter(None, (fitted.unmeasured,)), *doubts, *advice),
        doubts=doubts,
    )


def _calculate_felt(of: Inner, fitted: bores.Bore, turn_deg: float) -> FeltPitch | None:
    """Returns the pitch felt in a bore; None if the inner's own tilt is unknown."""
    if of.forward_in is None or of.right_in is None:
        return None
    tilt = (float(of.forward_in), float(of.right_in))
    return felt_pitch(fitted.circumference_in, fitted.forward_in, fitted.right_in, *tilt, turn_deg)


def _list_advice(verdict: str, centre_in: float, deeper_in: float, tilt_in: float, lip_in: float) -> tuple[str, ...]:
    if verdict == "flush":
        return ("Lock it in and feel round the rim.",)
    lines = []
    if verdict == "measure":
        lines.append("What is known of the two depths is not enough to say. Make a trial fit before anything is cut.")
    if abs(centre_in) > lip_in / 2:
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


DEPTH_UNKNOWN = "unknown:"  # prefix of the advice on a ball of unknown depth


def list_in_balls(
    of: Inner,
    drilled: Iterable[Drilling],
    owned: Iterable[Ball],
    known: dict[tuple[int, int], ShopDepth],
    limits: dict[str, SetLimit],
) -> list[tuple[Ball, Drilling, InnerInBore | Unsettled | str]]:
    """Returns how an inner sits in each of these balls, or in words why that is unknown."""
    labels = {ball.id: ball for ball in owned if not ball.retired_at}
    made = find_known_bore(of.trimmed_in, known.get((of.trimmed_in.shop_id, of.system_id)), limits)
    found: list[tuple[Ball, Drilling, InnerInBore | Unsettled | str]] = []
    for drilling in drilled:
        ball = labels.get(drilling.ball_id)
        if ball is None or drilling.bore is None:
            continue
        if drilling.system_id != of.system_id:
            found.append((ball, drilling, "another system: it does not lock here"))
            continue
        fitted = find_known_bore(drilling.bore, known.get((drilling.shop_id, of.system_id)), limits)
        how = sit_in_bore(of, drilling.bore, made, fitted, float(limits["lip"].value_in))
        whose = "where it was trimmed" if made is None else "of this ball"
        unknown = f"{DEPTH_UNKNOWN} measure the bore depth {whose}, or make a trial fit"
        found.append((ball, drilling, unknown if how is None else how))
    return found
