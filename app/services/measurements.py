"""Measurements of a drilling: sleeve-to-cut against its prediction, closing, and findings of later visits.

The doubt of a reading is kept with the verdict that it led to: a later gauge study changes no old verdict, and is used
when a drilling is measured again. A verdict whose doubt was not kept is not settled.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import inf, isinf
from statistics import fmean

from sqlalchemy.orm import Session

from app.calculation.errors import CannotBuildError
from app.calculation.grip import SolvedGrip
from app.calculation.tolerances import (
    Deviation,
    RepeatedReading,
    deviation,
    reading_half_width_in,
    repeated_reading,
)
from app.errors import FieldError, InvalidError
from app.measures.divisions import division_in
from app.measures.wording import in_64ths
from app.models import Drilling, Measurement, now
from app.models.plans import Plan
from app.schemas.drillings import ClosingForm, FindingForm, FinishForm, FinishReadings
from app.services import changes, checks, drillings, shop_limits
from app.services.shop_limits import SetLimit
from app.services.work_outs import remeasure_once, work_out

_NAMES = {  # of measurements, by what was measured; without a thumb hole a finger's is its reach
    "middle": ("span_middle", "reach_middle"), "ring": ("span_ring", "reach_ring"), "bridge": ("bridge",),
}  # fmt: skip


@dataclass(frozen=True)
class ReadingDoubt:
    """The standard uncertainty of one reading, inches, its degrees of freedom, and where it came from."""

    value_in: Fraction
    freedom: float
    source: str

    @property
    def half_width_in(self) -> float:
        return reading_half_width_in(float(self.value_in), self.freedom)


@dataclass(frozen=True)
class SpanComparison:
    """Predicted against measured for each finger, without a thumb hole for the bridge too, and the grip that follows.

    Repeated pairs are averaged: `pairs` is their number, `half_width_in` half of the mean's 95 % interval. Without a
    `doubt` nothing is settled, and the half width is infinite. Nor is it where something that decides it is
    unknown, such as the circumference: the prediction is not known then (`is_foreseen`).
    """

    parts: dict[str, Deviation]
    as_drilled: SolvedGrip
    pairs: int
    half_width_in: float
    doubt: ReadingDoubt | None
    is_foreseen: bool = True

    @property
    def is_settled(self) -> bool:
        return all(part.is_settled for part in self.parts.values())

    @property
    def verdict(self) -> str:
        """`within`, `long`, `short`, or `mixed` when one of them is long and another short."""
        out = {part.verdict for part in self.parts.values()} - {"within"}
        return "within" if not out else out.pop() if len(out) == 1 else "mixed"


@dataclass(frozen=True)
class SpanReading:
    """One reading of a finger's span: its exact value, and its text, which tells its division."""

    value_in: Fraction
    text: str


def list_built_pairs(of: Drilling) -> dict[str, list[SpanReading]]:
    """Returns every finishing reading of a drilling by what was measured, oldest first."""
    built = sorted((m for m in of.measurements if m.stage == "built"), key=lambda m: m.id)
    return {
        part: [SpanReading(m.value_in, m.typed) for m in built if m.what in names] for part, names in _NAMES.items()
    }


def take_doubt(limits: Mapping[str, SetLimit]) -> ReadingDoubt:
    """Returns the doubt of one reading as the shop has it now, for a verdict that is made now."""
    spread = limits["span_spread"]
    return ReadingDoubt(spread.value_in, spread.freedom, spread.source)


def get_kept_doubt(of: Drilling) -> ReadingDoubt | None:
    """Returns the doubt that a drilling's verdict was made with; None if it was not kept, or nothing is measured."""
    if of.doubt_in is None:
        return None
    return ReadingDoubt(of.doubt_in, inf if of.doubt_freedom is None else of.doubt_freedom, of.doubt_source)


def compare_spans(
    plan: Plan, tolerance_in: Fraction, read: Mapping[str, Sequence[SpanReading]], doubt: ReadingDoubt | None
) -> SpanComparison:
    """Compares the mean of the measurements with the prediction; raises InvalidError if no grip measures so.

    `doubt` is that of one reading; without it no verdict is settled.
    """
    worked = work_out(plan)
    predicted = worked.predictions_in
    means = {part: _combine_readings(read[part], doubt) for part in predicted}
    spans = [means[finger].mean_in if finger in means else None for finger in ("middle", "ring")]
    bridge = means["bridge"].mean_in if "bridge" in means else None
    try:
        built = remeasure_once(worked.solved.grip, spans[0], spans[1], worked.has_sleeve, bridge)
    except CannotBuildError as error:
        raise InvalidError.at(worked.fingers[0], f"No grip measures so: {error.message}.") from None
    limit, is_foreseen = float(tolerance_in), not checks.describe_unsettling(plan)
    halves = {part: mean.half_width_in if is_foreseen else inf for part, mean in means.items()}
    return SpanComparison(
        {part: deviation(predicted[part], mean.mean_in, limit, halves[part]) for part, mean in means.items()},
        built,
        next(iter(means.values())).count,
        max(mean.half_width_in for mean in means.values()),
        doubt,
        is_foreseen,
    )


def _combine_readings(read: Sequence[SpanReading], doubt: ReadingDoubt | None) -> RepeatedReading:
    values, division = [float(r.value_in) for r in read], float(division_in(r.text for r in read))
    if doubt is None:
        return RepeatedReading(fmean(values), len(values), inf, inf)
    return repeated_reading(values, float(doubt.value_in), doubt.freedom, division)


def compare_built(of: Drilling) -> SpanComparison | None:
    """Compares all finishing measurements of a drilling, with the doubt kept then; None before the first pair."""
    read = list_built_pairs(of)
    plan = of.current_plan
    if plan is None or not any(read.values()):
        return None
    return compare_spans(plan, of.tolerance_in, read, get_kept_doubt(of))


def add_typed_pair(
    plan: Plan, read: dict[str, list[SpanReading]], form: FinishReadings
) -> dict[str, list[SpanReading]]:
    """Returns the readings so far with those in the form; raises InvalidError at one too few or too many."""
    parts = work_out(plan).predictions_in
    typed = {part: getattr(form, part) for part in _NAMES}
    wrong = {part: FieldError("This is needed.") for part in parts if typed[part].value is None}
    has_not = {"bridge": "Only a grip without a thumb hole is measured by its bridge: leave this empty."}
    wrong |= {
        part: FieldError(has_not.get(part, f"This grip has no {part} finger: leave this empty."))
        for part, reading in typed.items()
        if part not in parts and reading.state != "absent"
    }
    if wrong:
        raise InvalidError("Some fields need another look. Nothing was saved.", wrong)
    return read | {part: [*read[part], SpanReading(typed[part].given, typed[part].text)] for part in parts}


def record_measurement(session: Session, drilling_id: int, form: FinishForm) -> Drilling:
    """Records both finishing measurements beside earlier pairs; the verdict is that of the means.

    The doubt of a reading as the shop has it now is kept with the verdict, and holds until the next pair.
    """
    of = drillings.get_for_change(session, drilling_id, form.version, "drilled")
    plan = drillings.get_current_plan(of)
    read = add_typed_pair(plan, list_built_pairs(of), form)
    doubt = take_doubt(shop_limits.load_limits(session))
    result = compare_spans(plan, of.tolerance_in, read, doubt)
    edges = "sleeve to cut" if plan.grip.sleeve_od_in else "cut" if plan.grip.thumb else "cut, from the plus"
    for part, compared in result.parts.items():
        reading = getattr(form, part)
        taken = Measurement(
            drilling_id=of.id,
            stage="built",
            what=_NAMES[part][0 if plan.grip.thumb else -1],
            value_in=reading.value,
            typed=reading.text,
            reference=edges if part != "bridge" else "cut",
            instrument=form.instrument,
            note=form.note,
            staff_id=form.who,
        )
        session.add(taken)
        words = f"{reading.text} ({in_64ths(float(reading.value or 0) - compared.predicted_in)})"
        what = "cut bridge" if part == "bridge" else f"{edges} to {part}"
        changes.note(session, form.who, of, changes.Entry(what, "", words, form.note), of.ball.bowler_id)
    drillings.change_state(session, form.who, of, {"verdict": result.verdict, **_keep_doubt(doubt)})
    return of


def _keep_doubt(doubt: ReadingDoubt) -> dict[str, Fraction | float | str | None]:
    freedom = None if isinf(doubt.freedom) else doubt.freedom
    return {"doubt_in": doubt.value_in, "doubt_freedom": freedom, "doubt_source": doubt.source}


def close_drilling(session: Session, drilling_id: int, form: ClosingForm) -> Drilling:
    """Closes a measured drilling; raises InvalidError if unmeasured, or out of tolerance without a reason."""
    of = drillings.get_for_change(session, drilling_id, form.version, "drilled")
    if not of.verdict:
        fingers = work_out(drillings.get_current_plan(of)).fingers
        asked = " and the ".join(fingers)
        raise InvalidError.at(fingers[0], f"Measure to the {asked} before closing.")
    if of.verdict != "within" and not form.reason:
        raise InvalidError.at("reason", "It is out of tolerance: give a reason to close it anyway.")
    drillings.change_state(
        session, form.who, of, {"state": "closed", "closed_at": now(), "verdict_reason": form.reason}, form.reason
    )
    return of


def add_finding(session: Session, drilling_id: int, form: FindingForm) -> Drilling:
    """Records a hole as found on a later visit; measurements as built do not change."""
    of = drillings.get_for_change(session, drilling_id, form.version, "drilled", "closed")
    if form.value.value is None:
        raise InvalidError.at("value", "What was it found to be?")
    if of.plan and form.what.removesuffix("_hole") not in work_out(of.plan).solved.holes:
        raise InvalidError.at("what", "This grip has no such hole.")
    session.add(
        Measurement(
            drilling_id=of.id,
            stage="found",
            what=form.what,
            value_in=form.value.value,
            typed=form.value.text,
            reference="finished",
            note=form.note,
            staff_id=form.who,
        )
    )
    words = f"{changes.format_value(form.value.value)} as found"
    changes.note(
        session, form.who, of, changes.Entry(form.what, "", words, form.note), of.ball.bowler_id, is_addition=True
    )
    return of
