import re
from typing import Annotated, Literal

from pydantic import Field, field_validator

from app.schemas.forms import Form, Name, NoteText, OptionalId

Hand = Literal["right", "left"]


class BowlerForm(Form):
    name: Name
    phone: Annotated[str, Field(max_length=40)] = ""
    hand: Hand
    home_shop_id: OptionalId = None
    notes: NoteText = ""
    is_somebody_else: bool = False

    @field_validator("phone")
    @classmethod
    def looks_like_a_phone(cls, value: str) -> str:
        if value and len(re.sub(r"\D", "", value)) < 4:
            raise ValueError("A phone number has at least four digits; leave it empty if there is none.")
        return value
