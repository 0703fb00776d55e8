from typing import Annotated

from pydantic import Field

from app.schemas.forms import Form, Id, LimitText, Name, NoteText, ShortText

Initials = Annotated[str, Field(min_length=1, max_length=6)]
Town = Annotated[str, Field(max_length=120)]


class MergerForm(Form):
    """Says that a shop and another are one; undone by the same page."""

    into_id: Id


class UnmergingForm(Form):
    """Takes a merger back."""


class ShopForm(Form):
    name: Name
    town: Town = ""
    notes: NoteText = ""


class SettingForm(Form):
    value: LimitText
    source: Annotated[ShortText, Field(min_length=1)]
