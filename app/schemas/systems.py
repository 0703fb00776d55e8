from collections.abc import Mapping
from fractions import Fraction
from typing import Annotated, Any, Self

from pydantic import BaseModel, Field, field_validator, model_validator

from app.closed_sets import HeightSetBy, Locks, ObtainedByForm, SystemDigit
from app.measures.lengths import read_length
from app.measures.reading import DIAMETER
from app.measures.wording import inches
from app.schemas.forms import (
    ClockText,
    DatumBeside,
    DepthText,
    DiameterText,
    Id,
    LiftText,
    NoteText,
    PastDay,
    ResolutionText,
    SignedForm,
    ThumbPitchText,
    WrittenDepthText,
    chosen,
)


class SystemForm(SignedForm):
    """A hardware family under the shop's own label."""

    label: Annotated[str, Field(min_length=1, max_length=80)]
    digit: SystemDigit
    sleeve_od: DiameterText
    bore: DiameterText
    lift: LiftText
    inside_oval: LiftText
    inner_ods: Annotated[str, Field(max_length=200)] = ""
    sleeve_length: DepthText
    lock_depth: DepthText
    inner_length: DepthText
    stock: Annotated[str, Field(max_length=200)] = ""
    locks: Locks
    notch: ClockText
    wide_tab: ClockText
    height_set_by: HeightSetBy
    notes: NoteText = ""

    @model_validator(mode="before")
    @classmethod
    def answer_for_a_finger(cls, posted: Mapping[str, object]) -> dict[str, object]:
        """Answers what is asked of thumb hardware alone: a finger's insert has no lock, and is glued in by hand."""
        own = {"locks": "unknown", "height_set_by": "by_hand"} if posted.get("digit") == "finger" else {}
        return {**posted, **{name: value for name, value in own.items() if not posted.get(name)}}

    @field_validator("inner_ods")
    @classmethod
    def check_diameters(cls, value: str) -> str:
        for piece in filter(None, (p.strip() for p in value.split(","))):
            reading = read_length(piece, DIAMETER)
            if reading.state != "value":
                raise ValueError(f"{piece}: {reading.message or 'this is no diameter.'}")
        return value

    @property
    def inner_diameters(self) -> list[Fraction]:
        readings = (read_length(p, DIAMETER) for p in self.inner_ods.split(",") if p.strip())
        return [r.value for r in readings if r.value is not None]

    @field_validator("stock")
    @classmethod
    def check_counts(cls, value: str) -> str:
        for piece in filter(None, (p.strip() for p in value.split(","))):
            size, _, count = piece.partition(":")
            if read_length(size, DIAMETER).state != "value" or not count.strip().isdecimal():
                raise ValueError(f"{piece}: write a size and a count, such as 1 1/4: 3.")
        return value

    @property
    def stock_by_size(self) -> dict[str, tuple[Fraction, int]]:
        """Size and first count by size as `inches` writes it; empty if no stock is kept."""
        counts = {}
        for piece in filter(None, (p.strip() for p in self.stock.split(","))):
            size, _, count = piece.partition(":")
            value = read_length(size, DIAMETER).value
            if value is not None:
                counts[inches(value)] = (value, int(count))
        return counts


class RemovalForm(SignedForm):
    """Removes a system that was never used."""


class RouteStep(BaseModel):
    action: str
    words: Annotated[str, Field(max_length=300)] = ""


class RouteForm(SignedForm):
    """A system's own route: the kept steps in their order."""

    steps: list[RouteStep]

    @classmethod
    def read(cls, posted: Mapping[str, Any], **context: Any) -> Self:
        """Reads fields named keep-ACTION, place-ACTION and words-ACTION; a place that is no number sorts last."""
        kept = [name.removeprefix("keep-") for name in posted if name.startswith("keep-")]

        def place(action: str) -> int:
            text = str(posted.get(f"place-{action}", ""))
            return int(text) if text.isdecimal() and len(text) < 5 else 9999

        steps = [{"action": a, "words": posted.get(f"words-{a}", "")} for a in sorted(kept, key=place)]
        return super().read({**posted, "steps": steps}, **context)


class DepthForm(SignedForm):
    """One observation of how deep a shop bores for a system."""

    system_id: Id
    depth: Annotated[WrittenDepthText, chosen("How deep? Leave the whole observation out if nobody knows.")]
    datum: DatumBeside
    obtained: ObtainedByForm
    pitch: ThumbPitchText
    resolution: ResolutionText
    instrument: Annotated[str, Field(max_length=80)] = ""
    observed_on: PastDay
    notes: NoteText = ""
