from typing import Annotated

from pydantic import Field

from app.closed_sets import BoreRuns, Datum, FoundHole, Point
from app.schemas.forms import (
    ClockText,
    DiameterText,
    Form,
    HoleText,
    Id,
    NeededSleeveToCutText,
    NoteText,
    OptionalId,
    ShortText,
    SignedForm,
    WrittenDepthText,
)


class PlanChoices(Form):
    """The choices from which a plan is made."""

    fit_id: Id
    system_id: OptionalId = None
    bore_runs: BoreRuns = "like_thumb"
    notch: ClockText
    inner: DiameterText
    point: Point = "118"
    notes: NoteText = ""


class PlanForm(PlanChoices, SignedForm):
    """Plans a drilling: fit, hardware and direction of the bore."""


class TickForm(SignedForm):
    """Ticks one step, with the depth and bit met at the bench where the step asks for them."""

    depth: WrittenDepthText
    bit: Annotated[str, Field(max_length=40)] = ""
    note: Annotated[str, Field(max_length=400)] = ""


class ConfirmationForm(SignedForm):
    """Confirms person, hand, ball, hole and direction, read back before the first cut that cannot be undone."""

    reason: Annotated[str, Field(max_length=400)] = ""


class DrilledForm(SignedForm):
    """Marks a ball as drilled, with depth, datum and notch as met at the bench. Needed only with a sleeve."""

    depth: WrittenDepthText
    datum: Datum = "unknown"
    notch: ClockText


class FinishReadings(Form):
    """Both finishing measurements as typed."""

    middle: NeededSleeveToCutText
    ring: NeededSleeveToCutText
    instrument: Annotated[str, Field(max_length=80)] = ""
    note: Annotated[str, Field(max_length=400)] = ""


class FinishForm(FinishReadings, SignedForm):
    """Records sleeve-to-cut (without a sleeve: cut spans) after everything is cut flush."""


class ClosingForm(SignedForm):
    reason: Annotated[str, Field(max_length=400)] = ""


class PluggingForm(SignedForm):
    reason: Annotated[ShortText, Field(min_length=1)]


class FindingForm(SignedForm):
    """Records a hole as found on a later visit; the numbers as built do not change."""

    what: FoundHole
    value: HoleText
    note: Annotated[str, Field(min_length=1, max_length=400)]
