from typing import Annotated

from pydantic import Field

from app.closed_sets import Hand, ObtainedFromVisitor
from app.measures.divisions import division_in
from app.schemas.forms import (
    CircumferenceText,
    ClockText,
    DatumBeside,
    DiameterText,
    Form,
    Id,
    NeededDepthText,
    NeededHeightText,
    NeededOvalText,
    NeededProudText,
    NoteText,
    OptionalId,
    OvalText,
    SaidDiameterText,
    SignedForm,
    ThumbPitchText,
    WrittenDepthText,
)


class InnerForm(SignedForm):
    """A bowler's own inner, trimmed flush in one of the bowler's drillings here."""

    label: Annotated[str, Field(min_length=1, max_length=80)]
    trimmed_in_id: Id
    outside: SaidDiameterText
    thumb_hole: OvalText
    tilt: ThumbPitchText
    notes: NoteText = ""


class InnerFindingForm(SignedForm):
    """Records an inner's thumb hole as found on a later visit."""

    value: NeededOvalText
    note: Annotated[str, Field(min_length=1, max_length=400)]


class CompletionForm(SignedForm):
    """Adds what was unknown, or never asked, of an inner and its bore; an empty field adds nothing."""

    outside: DiameterText
    bore_pitch: ThumbPitchText
    notch: ClockText
    thumb_hole: OvalText
    tilt: ThumbPitchText
    note: Annotated[str, Field(max_length=400)] = ""


class VisitorForm(SignedForm):
    """A visitor's inner from another shop, with its ball if the visitor brought one."""

    bowler_id: OptionalId = None
    bowler_name: Annotated[str, Field(max_length=120)] = ""
    bowler_phone: Annotated[str, Field(max_length=40)] = ""
    hand: Hand
    shop_id: OptionalId = None
    shop_name: Annotated[str, Field(max_length=120)] = ""
    shop_town: Annotated[str, Field(max_length=120)] = ""
    system_id: Id
    outside: SaidDiameterText
    thumb_hole: OvalText
    bore_pitch: ThumbPitchText
    tilt: ThumbPitchText
    depth: WrittenDepthText
    datum: DatumBeside = "unknown"
    obtained: ObtainedFromVisitor = "told"
    notch: ClockText
    ball_label: Annotated[str, Field(max_length=80)] = ""
    ball_serial: Annotated[str, Field(max_length=40)] = ""
    circumference: CircumferenceText
    notes: NoteText = ""


class LooseHeights(Form):
    """Four heights of a loose inner, as typed."""

    height_12: NeededHeightText
    height_3: NeededHeightText
    height_6: NeededHeightText
    height_9: NeededHeightText

    @property
    def heights_in(self) -> list[float]:
        return [float(h.given) for h in (self.height_12, self.height_3, self.height_6, self.height_9)]

    @property
    def division_in(self) -> float:
        """The smallest division to which the heights were written, inches."""
        return float(division_in(h.text for h in (self.height_12, self.height_3, self.height_6, self.height_9)))


class LooseForm(LooseHeights, SignedForm):
    """Saves the heights of a loose inner's trimmed rim above its seat, at 12, 3, 6 and 9 o'clock in its lock frame."""


class RimForm(Form):
    """How far an inner stands proud in a ball at 12, 3, 6 and 9 o'clock."""

    rim_12: NeededProudText
    rim_3: NeededProudText
    rim_6: NeededProudText
    rim_9: NeededProudText

    @property
    def readings_in(self) -> list[float]:
        return [float(r.given) for r in (self.rim_12, self.rim_3, self.rim_6, self.rim_9)]


class TrialFitForm(SignedForm):
    """One trial fit: the collar depth bored, and how far the inner stood proud of the ball."""

    trial_depth: NeededDepthText
    proud: NeededProudText


class TrialDepthForm(SignedForm):
    """Saves the depth from the trial fits as an observation of the other shop."""

    notes: NoteText = ""
