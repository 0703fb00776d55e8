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
from app.errors import InvalidError
from app.measures.divisions import division_in
from app.measures.wording import in_64ths
from app.models import Drilling, Measurement, now
from app.models.plans import Plan
from app.schemas.drillings import ClosingForm, FindingForm, FinishForm, FinishReadings
from app.services import changes, checks, drillings, shop_limits
from app.services.shop_limits import SetLimit
from app.services.work_outs import remeasure_once, work_out


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
    """Predicted against measured for both fingers, and the spans as drilled that follow.

    Repeated pairs are averaged: `pairs` is their number, `half_width_in` half of the mean's 95 % interval. Without a
    `doubt` nothing is settled, and the half width is infinite. Nor is it where something that decides it is
    unknown, such as the circumference: the prediction is not known then (`is_foreseen`).
    """

    middle: Deviation
    ring: Deviation
    as_drilled: SolvedGrip
    pairs: int
    half_width_in: float
    doubt: ReadingDoubt | None
    is_foreseen: bool = True

    @property
    def is_settled(self) -> bool:
        return self.middle.is_settled and self.ring.is_settled

    @property
    def verdict(self) -> str:
        """`within`, `long`, `short`, or `mixed` when one finger is long and the other short."""
        out = {d.verdict for d in (self.middle, self.ring)} - {"within"}
        return "within" if not out else out.pop() if len(out) == 1 else "mixed"


@dataclass(frozen=True)
class SpanReading:
    """One reading of a finger's span: its exact value, and its text, which tells its division."""

    value_in: Fraction
    text: str


def list_built_pairs(of: Drilling) -> dict[str, list[SpanReading]]:
    """Returns every finishing reading of a drilling by finger, oldest first."""
    built = sorted((m for m in of.measurements if m.stage == "built"), key=lambda m: m.id)
    return {
        finger: [SpanReading(m.value_in, m.typed) for m in built if m.what == f"span_{finger}"]
        for finger in ("middle", "ring")
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
    middle, ring = (_combine_readings(read[finger], doubt) for finger in ("middle", "ring"))
    try:
        built = remeasure_once(worked.solved.grip, middle.mean_in, ring.mean_in, worked.has_sleeve)
    except CannotBuildError as error:
        raise InvalidError.at("middle", f"No grip measures so: {error.message}.") from None
    limit, is_foreseen = float(tolerance_in), not checks.describe_unsettling(plan)
    halves = [reading.half_width_in if is_foreseen else inf for reading in (middle, ring)]
    return SpanComparison(
        deviation(worked.predicted_in("middle"), middle.mean_in, limit, halves[0]),
        deviation(worked.predicted_in("ring"), ring.mean_in, limit, halves[1]),
        built,
        middle.count,
        max(middle.half_width_in, ring.half_width_in),
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
    if plan is None or not (read["middle"] and read["ring"]):
        return None
    return compare_spans(plan, of.tolerance_in, read, get_kept_doubt(of))


def add_typed_pair(read: dict[str, list[SpanReading]], form: FinishReadings) -> dict[str, list[SpanReading]]:
    """Returns the pairs so far with the one in the form."""
    typed = {"middle": form.middle, "ring": form.ring}
    return {f: [*read[f], SpanReading(r.given, r.text)] for f, r in typed.items()}


def record_measurement(session: Session, drilling_id: int, form: FinishForm) -> Drilling:
    """Records both finishing measurements beside earlier pairs; the verdict is that of the means.

    The doubt of a reading as the shop has it now is kept with the verdict, and holds until the next pair.
    """
    of = drillings.get_for_change(session, drilling_id, form.version, "drilled")
    read = add_typed_pair(list_built_pairs(of), form)
    plan = drillings.get_current_plan(of)
    doubt = take_doubt(shop_limits.load_limits(session))
    result = compare_spans(plan, of.tolerance_in, read, doubt)
    predicted = {"middle": result.middle.predicted_in, "ring": result.ring.predicted_in}
    edges = "sleeve to cut" if plan.grip.sleeve_od_in else "cut"
    for finger, reading in (("middle", form.middle), ("ring", form.ring)):
        taken = Measurement(
            drilling_id=of.id,
            stage="built",
            what=f"span_{finger}",
            value_in=reading.value,
            typed=reading.text,
            reference=edges,
            instrument=form.instrument,
            note=form.note,
            staff_id=form.who,
        )
        session.add(taken)
        words = f"{reading.text} ({in_64ths(float(reading.value or 0) - predicted[finger])})"
        changes.note(
            session, form.who, of, changes.Entry(f"{edges} to {finger}", "", words, form.note), of.ball.bowler_id
        )
    drillings.change_state(session, form.who, of, {"verdict": result.verdict, **_keep_doubt(doubt)})
    return of


def _keep_doubt(doubt: ReadingDoubt) -> dict[str, Fraction | float | str | None]:
    freedom = None if isinf(doubt.freedom) else doubt.freedom
    return {"doubt_in": doubt.value_in, "doubt_freedom": freedom, "doubt_source": doubt.source}


def close_drilling(session: Session, drilling_id: int, form: ClosingForm) -> Drilling:
    """Closes a measured drilling; raises InvalidError if unmeasured, or out of tolerance without a reason."""
    of = drillings.get_for_change(session, drilling_id, form.version, "drilled")
    if not of.verdict:
        raise InvalidError.at("middle", "Measure to the middle and the ring before closing.")
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
