from fractions import Fraction
from typing import Annotated, Literal

from pydantic import Field, model_validator

from app.closed_sets import (
    DATUM_WORDS,
    RIM_PLACES,
    BoredHole,
    BoreRuns,
    Datum,
    FittedBy,
    FoundHole,
    InnerKind,
    Point,
    StopChoice,
)
from app.errors import FieldError
from app.measures.reading import Reading
from app.schemas.forms import (
    BridgeText,
    ClockText,
    DepthText,
    DiameterText,
    FinishText,
    Form,
    HoleText,
    Id,
    MetPitchText,
    NeededDepthText,
    NoteText,
    OptionalId,
    PastDay,
    ProudText,
    ShimText,
    ShortText,
    SignedForm,
    WrittenDepthText,
    chosen,
)
from app.schemas.old_holes import FillingForm, GripMarkForm


class PlanChoices(GripMarkForm):
    """The choices from which a plan is made; `inner_id` is the bowler's own inner that goes in, None for a new one."""

    fit_id: Id
    system_id: OptionalId = None
    inner_id: OptionalId = None
    fitted_by: FittedBy = "feel"
    inner_kind: InnerKind = "loaded"
    bore_runs: BoreRuns = "like_thumb"
    notch: ClockText
    inner: Annotated[DiameterText, chosen("The inner that goes in is chosen: write its size, or leave this empty.")]
    point: Point = "118"
    finger_depth: Annotated[DepthText, chosen("How deep to drill is chosen: write it, or leave this empty.")]
    notes: NoteText = ""


class PlanForm(PlanChoices, SignedForm):
    """Plans a drilling: fit, hardware and direction of the bore; `reason` is needed where a check fails."""

    reason: Annotated[str, Field(max_length=400)] = ""


class RimReadings(Form):
    """Heights of an owned inner's rim at four clock places; an empty one was not read."""

    rim_12: ProudText
    rim_3: ProudText
    rim_6: ProudText
    rim_9: ProudText

    @property
    def rim(self) -> dict[str, Reading[Fraction]]:
        """The heights that were read, by clock place."""
        read = {"rim_12": self.rim_12, "rim_3": self.rim_3, "rim_6": self.rim_6, "rim_9": self.rim_9}
        return {place: height for place, height in read.items() if height.state == "value"}

    @property
    def rim_words(self) -> str:
        """`front flush, right 1/64 proud`."""
        return ", ".join(f"{RIM_PLACES[place]} {height.text}" for place, height in self.rim.items())


class TickForm(RimReadings, SignedForm):
    """Ticks one step, with the depth, bit, pitch and rim met at the bench where the step asks for them.

    A depth is met, or not read by choice; its datum is named in its text or chosen, and empty while that is asked. What
    was tapped of it is `met`: `typed`, `not_read`, or a depth as text, for which a typed one stands in.
    `hand` and `hole` are the step's, and say how its pitch is read. `lot` is the part that was put in, `opened` a pack
    of glue that was opened for it.
    """

    depth: WrittenDepthText
    datum: Datum | Literal[""] = "unknown"
    not_read: bool = False
    pitch: MetPitchText
    hand: str = ""
    hole: str = ""
    bit: Annotated[str, Field(max_length=40)] = ""
    lot: OptionalId = None
    opened: OptionalId = None
    note: Annotated[str, Field(max_length=400)] = ""

    @model_validator(mode="before")
    @classmethod
    def read_tapped(cls, posted: dict[str, str]) -> dict[str, str]:
        """Puts what was tapped in the place of what was not typed."""
        met = posted.get("met", "")
        if met == "not_read":
            return posted | {"not_read": "true"}
        is_tapped = met not in ("", "typed") and not posted.get("depth", "").strip()
        return posted | {"depth": met, "datum": "unknown"} if is_tapped else posted

    @property
    def met_words(self) -> str:
        """Everything met, as it was typed, in one line, with the datum that was chosen beside a depth."""
        is_chosen = self.depth.value and not self.depth.value.datum and self.datum not in {"", "unknown"}
        datum = DATUM_WORDS[self.datum] if is_chosen else ""
        return " ".join(filter(None, (self.depth.text, datum, self.pitch.text, self.rim_words, self.bit, self.note)))


class SkipForm(SignedForm):
    """Skips one step; the reason stays with it."""

    reason: Annotated[str, Field(min_length=1, max_length=400)]


class DecisionForm(SignedForm):
    """How to go on where the bench stopped; `fix` changes one thing of what is not yet done, such as `point=180`."""

    decision: StopChoice
    shim: Annotated[ShimText, chosen("How thick the shim is decides how high the sleeve sits: measure it.")]
    fix: Annotated[str, Field(max_length=40)] = ""
    reason: Annotated[str, Field(max_length=400)] = ""


class DepthReadingForm(SignedForm):
    """A depth that was not read at the bench, read later: on which day."""

    hole: BoredHole
    depth: NeededDepthText
    datum: Datum = "unknown"
    day: PastDay
    note: Annotated[str, Field(max_length=400)] = ""


class ConfirmationForm(SignedForm):
    """Confirms person, hand, ball, hole and direction, read back before the first cut that cannot be undone."""

    reason: Annotated[str, Field(max_length=400)] = ""


class DrilledForm(RimReadings, SignedForm):
    """Marks a ball as drilled, with depth, datum and notch as met at the bench; needed only with a sleeve."""

    depth: WrittenDepthText
    datum: Datum = "unknown"
    notch: ClockText
    reason: Annotated[str, Field(max_length=400)] = ""


_MEASURED = chosen("A measurement has a number: measure it, then log it.")


class FinishReadings(Form):
    """The finishing measurements as typed: of which fingers, and whether of the bridge too, the plan says.

    With `is_reached` those of the fingers are reaches from the plus of a grip without a thumb hole.
    """

    middle: Annotated[FinishText, _MEASURED]
    ring: Annotated[FinishText, _MEASURED]
    bridge: Annotated[BridgeText, _MEASURED]
    instrument: Annotated[str, Field(max_length=80)] = ""
    note: Annotated[str, Field(max_length=400)] = ""

    def find_wrong(self) -> dict[str, FieldError]:
        """Asks for a finger's measurement where neither is given."""
        is_empty = self.middle.value is None and self.ring.value is None
        return dict.fromkeys(("middle", "ring"), FieldError("This is needed.")) if is_empty else {}


class FinishForm(FinishReadings, SignedForm):
    """Records sleeve-to-cut (without a sleeve: cut spans, or reaches and bridge) after everything is cut flush."""


class ClosingForm(SignedForm):
    reason: Annotated[str, Field(max_length=400)] = ""


class PluggingForm(FillingForm, SignedForm):
    """Marks a drilling as plugged; the holes that were drilled become old holes of the ball."""

    reason: Annotated[ShortText, Field(min_length=1)]


class FindingForm(SignedForm):
    """Records a hole as found on a later visit; the numbers as built do not change."""

    what: FoundHole
    value: Annotated[HoleText, chosen("What was it found to be? Leave the finding out if nobody measured it.")]
    note: Annotated[str, Field(min_length=1, max_length=400)]
