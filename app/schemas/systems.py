from datetime import date
from fractions import Fraction
from typing import Annotated, Any, Literal

from pydantic import Field, field_validator

from app.measures.lengths import read_length
from app.measures.reading import DIAMETER
from app.schemas.forms import ClockText, DepthText, DiameterText, Form, Id, NoteText, ThumbPitchText, WrittenDepthText

Datum = Literal["collar", "crown", "rim_high", "rim_low", "unknown"]


class SystemForm(Form):
    """A hardware family under the shop's own label."""

    label: Annotated[str, Field(min_length=1, max_length=80)]
    digit: Literal["thumb", "finger"]
    sleeve_od: DiameterText
    bore: DiameterText
    inner_ods: Annotated[str, Field(max_length=200)] = ""
    sleeve_length: DepthText
    lock_depth: DepthText
    locks: Literal["clockwise", "anticlockwise", "unknown"]
    notch: ClockText
    wide_tab: ClockText
    height_set_by: Literal["bore_floor", "ball_surface", "by_hand"]
    notes: NoteText = ""

    @field_validator("inner_ods")
    @classmethod
    def each_is_a_diameter(cls, value: str) -> str:
        for piece in filter(None, (p.strip() for p in value.split(","))):
            reading = read_length(piece, DIAMETER)
            if reading.state != "value":
                raise ValueError(f"{piece}: {reading.message or 'this is no diameter.'}")
        return value

    @property
    def inner_diameters(self) -> list[Fraction]:
        readings = (read_length(p, DIAMETER) for p in self.inner_ods.split(",") if p.strip())
        return [r.value for r in readings if r.value is not None]


class DepthForm(Form):
    """One observation of how deep a shop bores for a system."""

    system_id: Id
    depth: WrittenDepthText
    datum: Datum
    obtained: Literal["collar_measured", "told", "read_off_ball"]
    pitch: ThumbPitchText
    observed_on: date
    notes: NoteText = ""

    @field_validator("observed_on")
    @classmethod
    def not_in_the_future(cls, value: date) -> date:
        if value > date.today():
            raise ValueError("That day has not come yet.")
        return value

    @field_validator("observed_on", mode="before")
    @classmethod
    def a_day(cls, value: Any) -> Any:
        if not value:
            raise ValueError("Which day was it?")
        return value
