from collections.abc import Iterator
from typing import Annotated, Literal

from pydantic import BeforeValidator, Field, model_validator

from app.closed_sets import DIGITS, DIGITS_OF, BridgeEdges, GripHoles, Hand, SpanEdges, Style
from app.errors import FieldError
from app.measures.reading import Reading
from app.schemas.forms import (
    BridgeText,
    CircumferenceText,
    DepthText,
    FingerPitchText,
    Form,
    HoleText,
    LiftText,
    NoteText,
    OffsetText,
    OptionalId,
    OvalText,
    ShortText,
    SignedForm,
    SpanPairText,
    ThumbPitchText,
    chosen,
)

HARDWARE = ("system_id", "middle_insert", "ring_insert")
UNKNOWN = "unknown"
_PARTS = ("insert", "hole", "cut", "lift", "pitch", "depth", "offset")


class FitSpecification(Form):
    """A fit as typed, not signed. What its grip's holes leave without a meaning is refused where it is filled in."""

    hand: Hand
    grip_holes: Annotated[GripHoles, BeforeValidator(lambda value: value or "three")] = "three"
    style: Style
    reason: Annotated[ShortText, Field(min_length=1)]
    spans: SpanPairText
    span_edges: SpanEdges
    bridge: BridgeText
    bridge_edges: BridgeEdges | Literal[""] = ""
    thumb_hole: OvalText
    thumb_pitch: ThumbPitchText
    thumb_offset: OffsetText
    middle_insert: OptionalId = None
    middle_hole: OvalText
    middle_cut: HoleText
    middle_lift: LiftText
    middle_pitch: FingerPitchText
    middle_depth: DepthText
    ring_insert: OptionalId = None
    ring_hole: OvalText
    ring_cut: HoleText
    ring_lift: LiftText
    ring_pitch: FingerPitchText
    ring_depth: DepthText
    system_id: OptionalId = None
    hand_notes: NoteText = ""
    clinician_notes: NoteText = ""
    unknown_hardware: frozenset[str] = frozenset()

    @model_validator(mode="before")
    @classmethod
    def _part_unknown_hardware(cls, posted: dict[str, object]) -> dict[str, object]:
        """Takes “unknown” out of the fields of hardware: it is there, and nobody has said which it is."""
        unknown = frozenset(name for name in HARDWARE if posted.get(name) == UNKNOWN)
        return posted | dict.fromkeys(unknown, "") | {"unknown_hardware": unknown}

    def find_wrong(self) -> dict[str, FieldError]:
        """Returns a question at each filled field that has no meaning with the holes of this grip."""
        return {name: FieldError(words) for name, words in self._list_senseless()}

    @property
    def senseless(self) -> set[str]:
        """The fields that have no meaning with the holes of this grip."""
        absent = set(DIGITS) - set(DIGITS_OF[self.grip_holes])
        names = {f"{digit}_{part}" for digit in absent for part in _PARTS}
        return names | ({"bridge"} if len(absent & {"middle", "ring"}) else set())

    def _list_senseless(self) -> Iterator[tuple[str, str]]:
        """(field, question) of each filled field without a meaning.

        The depth of a finger that the grip has not is passed over: an empty form has the usual one in it.
        """
        kinds = {"thumb": "no thumb hole", "middle": "no middle finger", "ring": "no ring finger"}
        for name in sorted(self.senseless):
            typed = getattr(self, name, None)
            if isinstance(typed, Reading) and typed.state in {"value", "unknown"} and not name.endswith("_depth"):
                has_not = "one finger, so no bridge" if name == "bridge" else kinds[name.split("_")[0]]
                yield name, f"This grip has {has_not}: empty this, or choose other holes."
        if self.grip_holes == "thumbless":
            spans = self.spans.value
            if "sleeve" in {self.span_edges, spans.edges if spans else ""}:
                yield "span_edges", "Without a thumb hole there is no sleeve: was this to the cut or the finished edge?"
            if self.system_id:
                yield (
                    "system_id",
                    "Without a thumb hole there is nothing to put hardware in: choose none, or other holes.",
                )
        if not self.bridge_edges and "bridge" not in self.senseless:
            yield "bridge_edges", "Choose one."
        is_off = bool(self.thumb_offset.value) or self.thumb_offset.state == "unknown"
        if len(DIGITS_OF[self.grip_holes]) == 2 and is_off and "thumb_offset" not in self.senseless:
            yield "thumb_offset", "With one finger both holes stand on the centre line: nothing is off it. Empty this."


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
