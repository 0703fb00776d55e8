import re
from typing import Annotated, Self

from pydantic import Field, field_validator, model_validator
from pydantic_core import PydanticCustomError

from app.closed_sets import Hand
from app.schemas.forms import Name, NoteText, OptionalId, SignedForm


class BowlerForm(SignedForm):
    name: Name
    phone: Annotated[str, Field(max_length=40)] = ""
    hand: Hand
    home_shop_id: OptionalId = None
    league: Annotated[str, Field(max_length=80)] = ""
    notes: NoteText = ""
    is_minor: bool = False
    guardian: Annotated[str, Field(max_length=160)] = ""
    consent: Annotated[str, Field(max_length=400)] = ""
    is_somebody_else: bool = False

    @field_validator("phone")
    @classmethod
    def check_phone(cls, value: str) -> str:
        if value and len(re.sub(r"\D", "", value)) < 4:
            raise ValueError("A phone number has at least four digits; leave it empty if there is none.")
        return value

    @model_validator(mode="after")
    def require_guardian(self) -> Self:
        if self.is_minor and not self.guardian:
            raise PydanticCustomError("guardian", "Under age: write whom to call, and the number.")
        return self
