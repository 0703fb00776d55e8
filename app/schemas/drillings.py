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
    """What a plan is made of, as chosen."""

    fit_id: Id
    system_id: OptionalId = None
    bore_runs: BoreRuns = "like_thumb"
    notch: ClockText
    inner: DiameterText
    point: Point = "118"
    notes: NoteText = ""


class PlanForm(PlanChoices, SignedForm):
    """Which fit goes into this ball, on which hardware, and how the bore runs."""


class TickForm(SignedForm):
    """One step done, with what was really met where the step asks for it."""

    depth: WrittenDepthText
    bit: Annotated[str, Field(max_length=40)] = ""
    note: Annotated[str, Field(max_length=400)] = ""


class ConfirmationForm(SignedForm):
    """The pause before the first cut that cannot be undone: this person, hand, ball, hole and direction."""

    reason: Annotated[str, Field(max_length=400)] = ""


class DrilledForm(SignedForm):
    """What was really met at the bench: depth with its datum, notch. Needed only where there is a sleeve."""

    depth: WrittenDepthText
    datum: Datum = "unknown"
    notch: ClockText


class FinishReadings(Form):
    """Both finishing measurements, as typed."""

    middle: NeededSleeveToCutText
    ring: NeededSleeveToCutText
    instrument: Annotated[str, Field(max_length=80)] = ""
    note: Annotated[str, Field(max_length=400)] = ""


class FinishForm(FinishReadings, SignedForm):
    """Sleeve-to-cut (or cut spans, without a sleeve) after everything is cut flush."""


class ClosingForm(SignedForm):
    reason: Annotated[str, Field(max_length=400)] = ""


class PluggingForm(SignedForm):
    reason: Annotated[ShortText, Field(min_length=1)]


class FindingForm(SignedForm):
    """What a ball was found to be on a later visit; the as-built numbers stay as they are."""

    what: FoundHole
    value: HoleText
    note: Annotated[str, Field(min_length=1, max_length=400)]
