"""The bench's answer to what was met at a step: against what was planned, and what now follows from it.

What was met is judged within the shop's limits against the plan as it was before the step: as specified, or as planned
again since. What follows is told where the step changed it, and is beyond where a check that held before fails now.
"""

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction

from app.calculation.bores import DATUMS
from app.closed_sets import DATUM_WORDS, RIM_PLACES
from app.measures.amounts import read_proud
from app.measures.wording import inches
from app.models import DrillingStep
from app.models.plans import Plan
from app.services import met_follows, owned_routes
from app.services.met_plans import (
    HOLES,
    HoleName,
    find_wanted_depth_in,
    get_bit_in,
    get_pitch,
    put_in_met,
    read_depths_in,
    read_pitch,
    try_put,
)
from app.services.met_terms import SAME_IN, Met, Term, describe_limit, describe_pitch, describe_range
from app.services.shop_limits import SetLimit
from app.services.work_outs import work_out

__all__ = ["Answer", "Term", "answer_step", "put_in_met", "read_rim"]

_PILOTS: dict[str, HoleName] = {"pilot": "bore", "pilot_inner": "thumb"}
_NAMES: dict[HoleName, str] = {"bore": "Bore", "thumb": "Thumb", "middle": "Middle", "ring": "Ring"}


@dataclass(frozen=True)
class Answer:
    """What was met at a step and what follows from it; only what changed, the measured thing itself always first.

    `shim_in` is how much to lay under the sleeve so that it sits as planned, None where a shim is no remedy;
    `deepen_in` how much more to bore or drill, None where it is deep enough or nobody knows; `widen_in` the bit to bore
    on with where a smaller one was taken. Inches.
    """

    terms: tuple[Term, ...]
    shim_in: float | None = None
    deepen_in: float | None = None
    widen_in: float | None = None

    @property
    def is_beyond(self) -> bool:
        return any(term.is_beyond for term in self.terms)


def answer_step(
    specified: Plan,
    before: Plan,
    now: Plan,
    step: DrillingStep,
    height_set_by: str | None,
    limits: Mapping[str, SetLimit],
) -> Answer | None:
    """Compares what was met at a step with what was planned; None where it met nothing that can be compared.

    `specified` is the plan as frozen, `before` as met before this step and `now` as met with it (`put_in_met`).
    """
    if step.skip_reason:
        return None
    met = Met(specified, before, now, step, limits, height_set_by == "bore_floor")
    if step.action == "read_rim":
        return _answer_rim(met)
    if step.action in _PILOTS:
        return _answer_pilot(met, _PILOTS[step.action])
    hole = HOLES.get(step.action)
    if hole is None or (hole == "bore" and now.bore is None):
        return None
    refused = _list_refused(before, step)
    bit = tuple(_compare_bit(met, hole, refused.get("bit", "")))
    depth = tuple(_compare_depth(met, hole, refused.get("depth", "")))
    measured = (*_compare_pitch(met, hole, refused.get("pitch", "")), *bit, *depth)
    if not measured:
        return None
    shim_in, deepen_in = (None, None) if "depth" in refused else _find_remedies(met, hole)
    if not any(term.is_beyond for term in depth):
        deepen_in = None
    widen_in = _find_wider_bit_in(met, hole) if any(term.is_beyond for term in bit) else None
    return Answer((*measured, *met_follows.list_following(met, hole)), shim_in, deepen_in, widen_in)


def _list_refused(before: Plan, step: DrillingStep) -> dict[str, str]:
    """Returns why a value met at a step could not be put into the plan, by its kind."""
    plan, refused = before, {}
    for kind in ("pitch", "bit", "depth"):
        plan, message = try_put(plan, step, kind)
        if message:
            refused[kind] = f"cannot be worked out: {message}"
    return refused


# What was met ---------------------------------------------------------------------------------------------------------


def _answer_pilot(met: Met, hole: HoleName) -> Answer | None:
    """A pilot has only to be smaller than the bit that follows it."""
    bit = met.step.met_bit_in
    if bit is None or (hole == "bore" and met.before.bore is None):
        return None
    planned = get_bit_in(met.before, hole)
    return Answer((Term("Pilot's bit", f"under {inches(planned)}", inches(bit), float(bit) > planned - SAME_IN),))


def _answer_rim(met: Met) -> Answer | None:
    """The rim of an owned inner as it was read, each place against the lip that its plan allows."""
    heights = read_rim(met.step)
    allowed_in = met_follows.find_allowed_lip_in(met)
    if not heights or allowed_in is None:
        return None
    foreseen = owned_routes.predict_heights(met.now)
    limit = f"± {inches(allowed_in)}"
    terms = (
        Term(
            f"Rim, {RIM_PLACES[at]}",
            owned_routes.describe_height(foreseen[at]) if at in foreseen else "not known",
            owned_routes.describe_height(float(height)),
            abs(float(height)) > allowed_in + SAME_IN,
            limit,
        )
        for at, height in heights.items()
    )
    return Answer(tuple(terms))


def read_rim(step: DrillingStep) -> dict[str, Fraction]:
    """Returns the heights read at a step by the place of the rim, inches proud."""
    read = {place: read_proud(step.typed.get(place, "")).value for place in RIM_PLACES}
    return {place: height for place, height in read.items() if height is not None}


def _compare_pitch(met: Met, hole: HoleName, refused: str) -> Iterator[Term]:
    planned = get_pitch(met.before, hole)
    pitch = read_pitch(met.step, planned)
    if pitch is None:
        return
    told, limit = describe_pitch(*pitch), met.limits["met_pitch"]
    is_beyond = bool(refused) or math.dist(pitch, planned) > float(limit.value_in) + SAME_IN
    now = f"{told}: {refused}" if refused else told
    yield Term(f"{_NAMES[hole]} pitch", describe_pitch(*planned), now, is_beyond, describe_limit(limit))


def _compare_bit(met: Met, hole: HoleName, refused: str) -> Iterator[Term]:
    bit = met.step.met_bit_in
    if bit is None:
        return
    planned, limit = get_bit_in(met.before, hole), met.limits["met_bit"]
    is_beyond = bool(refused) or abs(float(bit) - planned) > float(limit.value_in) + SAME_IN
    now = f"{inches(bit)}: {refused}" if refused else inches(bit)
    yield Term(f"{_NAMES[hole]} bit", inches(planned), now, is_beyond, describe_limit(limit))


def _compare_depth(met: Met, hole: HoleName, refused: str) -> Iterator[Term]:
    read = met.step.met_depth_in
    if read is None:
        return
    if met.step.action == "drill_inner":
        yield _compare_travel(met, float(read))
        return
    depths = read_depths_in(met.now, met.step, hole)
    assert depths is not None  # it was met
    planned = find_wanted_depth_in(met.before, met.step, hole)
    low, high, limit_words = _choose_depth_limits(met, hole)
    is_within = planned - low - SAME_IN <= depths[0] and depths[1] <= planned + high + SAME_IN
    now = f"{inches(read)}: {refused}" if refused else _describe_depth(met.step, hole, depths)
    is_shimmed = hole == "bore" and not refused and depths[0] > planned
    yield Term(f"{_NAMES[hole]} depth", inches(planned), now, bool(refused) or not is_within, limit_words, is_shimmed)


def _choose_depth_limits(met: Met, hole: HoleName) -> tuple[float, float, str]:
    """(how much shallower, how much deeper) a hole may be than planned, inches, and in words.

    A bore whose floor does not set the sleeve's height may be deeper as other holes may; one for an owned inner of
    uncertain height as deep as its trial may lead.
    """
    fine, coarse = met.limits["met_depth"], met.limits["met_hole_depth"]
    if hole == "bore" and met.is_on_floor and met.trial_in > float(fine.value_in):
        room_in = float(fine.value_in) + met.trial_in
        is_unknown = met.before.owned is not None and bool(met.before.owned.unknown)
        return (
            float(fine.value_in) if is_unknown else room_in,
            room_in,
            f"{describe_limit(fine)}, or as its trial shows",
        )
    less = fine if hole == "bore" else coarse
    more = fine if hole == "bore" and met.is_on_floor else coarse
    words = describe_limit(less) if less is more else f"− {_unsigned(less)}, + {_unsigned(more)}"
    return float(less.value_in), float(more.value_in), words


def _unsigned(limit: SetLimit) -> str:
    return describe_limit(limit).removeprefix("± ")


def _describe_depth(step: DrillingStep, hole: HoleName, depths: tuple[float, float]) -> str:
    """A depth in the terms of the plan; with the reading and its datum where that is another."""
    own = "collar" if hole == "bore" else "crown"
    if step.met_datum == own or (step.met_datum in DATUMS and abs(depths[0] - float(step.met_depth_in or 0)) < SAME_IN):
        return inches(depths[0])
    words = DATUM_WORDS[step.met_datum or "unknown"]
    return f"{describe_range(*depths)} (read {inches(step.met_depth_in or 0)}, {words})"


def _compare_travel(met: Met, travel_in: float) -> Term:
    """The travel of the through-drill against the window that its inner and its lock leave."""
    planned, window = work_out(met.before).window, work_out(met.now).window
    what = "Travel of the drill"
    if window is None:
        return Term(what, "not known: measure lock depth and inner's length", inches(travel_in), False)
    allowed = planned or window
    is_beyond = not window.least_in - SAME_IN <= travel_in <= window.most_in + SAME_IN
    words = f"{inches(window.least_in)} to {inches(window.most_in)}"
    return Term(what, f"{inches(allowed.least_in)} to {inches(allowed.most_in)}", inches(travel_in), is_beyond, words)


# Remedies -------------------------------------------------------------------------------------------------------------


def _find_wider_bit_in(met: Met, hole: HoleName) -> float | None:
    planned = get_bit_in(met.before, hole)
    return planned if met.step.met_bit_in is not None and float(met.step.met_bit_in) < planned else None


def _find_remedies(met: Met, hole: HoleName) -> tuple[float | None, float | None]:
    """(how much to shim, how much to deepen), inches; None where it is no remedy, or where the datum is unknown."""
    if met.step.met_depth_in is None:
        return None, None
    if met.step.action == "drill_inner":
        window = work_out(met.now).window
        missing = window.least_in - float(met.step.met_depth_in) if window else 0.0
        return None, missing if missing > SAME_IN else None
    depths = read_depths_in(met.now, met.step, hole)
    if depths is None or depths[1] - depths[0] > SAME_IN:
        return None, None
    planned = find_wanted_depth_in(met.before, met.step, hole)
    deeper = depths[0] - planned
    is_shimmed = hole == "bore" and met.is_on_floor and deeper > max(SAME_IN, met.trial_in)
    return deeper if is_shimmed else None, -deeper if deeper < -SAME_IN else None
