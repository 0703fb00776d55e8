"""An inner in a bore of unknown pitch or notch: the range of its rim's heights, and what to measure."""

from collections.abc import Sequence
from dataclasses import dataclass

from app.calculation.bores import UNKNOWN_PITCH_IN, Bore, FlushnessRange, flushness_range
from app.calculation.errors import CannotBuildError
from app.calculation.inners import FeltPitch
from app.calculation.tolerances import judge_rim
from app.closed_sets import NOTCH_UNASKED, STRAIGHT_UNASKED
from app.errors import InvalidError
from app.measures.wording import inches
from app.models import Bore as BoreRecord
from app.models import Inner

OUTSIDE = "inner outside"  # in `Plan.unknown`
LEVEL_IN = 1e-5  # a rim that leans and bows by less stands so at any outside of the inner


@dataclass(frozen=True)
class Unsettled:
    """How an inner may sit: the range of its rim, half of the depths' 95 % interval, and what is unknown.

    The verdict is `measure`, or `proud` or `sunk` if that holds for every value of the unknown; it is never flush.
    `felt` is None if the unknown changes the felt pitch.
    """

    range: FlushnessRange
    half_width_in: float
    unknown: tuple[str, ...]
    felt: FeltPitch | None
    verdict: str
    advice: tuple[str, ...]
    is_own_bore: bool = False

    @property
    def unknown_words(self) -> str:
        return ", and ".join(self.unknown)


def predict_range(
    outside_in: float,
    bores: tuple[Sequence[Bore], Sequence[Bore]],
    half_width_in: float,
    unknown: tuple[str, ...],
    felt: FeltPitch | None,
    lip_in: float,
) -> Unsettled:
    """Returns the range over every pair of bores (trimmed in, fitted in) that are possible, and every possible turn."""
    try:
        found = flushness_range(outside_in, *bores)
    except CannotBuildError as error:
        raise InvalidError.at("", error.message) from None
    return settle_range(found, half_width_in, unknown, felt, lip_in)


def settle_range(
    found: FlushnessRange,
    half_width_in: float,
    unknown: tuple[str, ...],
    felt: FeltPitch | None,
    lip_in: float,
    *,
    is_own_bore: bool = False,
) -> Unsettled:
    """Returns a rim's range with its verdict and advice; `is_own_bore`: in the very bore it was trimmed in."""
    verdict = judge_rim(found.lowest_in, found.highest_in, half_width_in, lip_in, is_range=True)
    advice = _list_advice(found, half_width_in, unknown, lip_in)
    return Unsettled(found, half_width_in, unknown, felt, verdict, advice, is_own_bore)


def _list_advice(
    found: FlushnessRange, half_width_in: float, unknown: tuple[str, ...], lip_in: float
) -> tuple[str, ...]:
    lines = [f"Not known: {what}. Measure it before anything is cut or glued." for what in unknown]
    if any("pitch" in what for what in unknown):
        limit = inches(UNKNOWN_PITCH_IN)
        lines.append(
            f"Reckoned with: every pitch up to {limit} (ASSUMED), every way. A loose inner's rim tells its own."
        )
    if judge_rim(found.lowest_in, found.highest_in, half_width_in, lip_in) == "flush":
        lines.append(
            "Its rim would be within the limit all the same; the way its hole and oval point would not be known."
        )
    return tuple(lines)


def name_outside(of: Inner) -> tuple[str, ...]:
    """Returns in words the outside that an inner counts with although nobody knows it; nothing where it is known."""
    known = of.outside_in is not None
    return () if known else (f"the outside of the inner, counted as {inches(of.counted_outside_in)}, ASSUMED",)


def list_outside_doubts(of: Inner, uneven_in: float) -> tuple[str, ...]:
    """Returns what to measure of an inner whose rim comes out uneven by so many inches about its centre."""
    return tuple(f"Not known: {words}. Measure it." for words in name_outside(of) if uneven_in >= LEVEL_IN)


def list_doubts(bore: BoreRecord) -> tuple[str, ...]:
    """Returns in words what a bore's shape counts with although it is unknown, or nobody was asked."""
    doubts = {
        "the circumference of its ball": bore.circumference_in is None,
        f"the pitch of its bore ({STRAIGHT_UNASKED})": bore.is_pitch_unsaid,
        f"the direction of its notch ({NOTCH_UNASKED})": bore.is_notch_unsaid,
    }
    return tuple(words for words, is_doubt in doubts.items() if is_doubt)
