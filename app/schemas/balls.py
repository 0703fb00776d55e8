from typing import Annotated, Literal

from pydantic import Field

from app.schemas.forms import CircumferenceText, DepthText, NoteText, ShortText, SignedForm, WeightText

Label = Annotated[str, Field(min_length=1, max_length=80)]


class BallForm(SignedForm):
    label: Label
    serial: Annotated[str, Field(max_length=40)] = ""
    weight: WeightText
    circumference: CircumferenceText
    safe_depth: DepthText
    colour: Annotated[str, Field(max_length=60)] = ""
    condition: ShortText = ""
    holes: Literal["", "unknown"] = ""  # unknown: nobody knows whether it is drilled


class RetirementForm(SignedForm):
    """Takes a ball or an inner out of use, or back into it."""

    why: NoteText = ""
