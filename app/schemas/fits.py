from typing import Annotated

from pydantic import Field

from app.closed_sets import BridgeEdges, Hand, SpanEdges, Style
from app.schemas.forms import (
    BridgeText,
    CircumferenceText,
    DepthText,
    FingerPitchText,
    Form,
    HoleText,
    NoteText,
    OptionalId,
    OvalText,
    ShortText,
    SignedForm,
    SpanPairText,
    ThumbPitchText,
    chosen,
)


class FitSpecification(Form):
    """A fit as typed, not signed."""

    hand: Hand
    style: Style
    reason: Annotated[ShortText, Field(min_length=1)]
    spans: SpanPairText
    span_edges: SpanEdges
    bridge: BridgeText
    bridge_edges: BridgeEdges
    thumb_hole: OvalText
    thumb_pitch: ThumbPitchText
    middle_hole: HoleText
    middle_cut: HoleText
    middle_pitch: FingerPitchText
    middle_depth: DepthText
    ring_hole: HoleText
    ring_cut: HoleText
    ring_pitch: FingerPitchText
    ring_depth: DepthText
    system_id: OptionalId = None
    hand_notes: NoteText = ""
    clinician_notes: NoteText = ""


class FitForm(FitSpecification, SignedForm):
    """A whole fit specification as typed. Blank measures are allowed in a draft."""


class RevisionForm(SignedForm):
    """Copies a fit into a new draft."""

    reason: Annotated[ShortText, Field(min_length=1)]


class InForceForm(SignedForm):
    """Puts a draft in force."""


_ASKED = chosen("Cannot say over an unknown size. Write it, or leave this empty to keep what is there.")


class TransferForm(Form):
    """The hardware or sizes to change while the finished fit is kept; an empty field changes nothing."""

    who: int = 0
    system_id: OptionalId = None
    middle_cut: Annotated[HoleText, _ASKED]
    ring_cut: Annotated[HoleText, _ASKED]
    thumb_hole: Annotated[OvalText, _ASKED]
    circumference: Annotated[CircumferenceText, _ASKED]
