from typing import Annotated

from pydantic import Field

from app.schemas.forms import Id, LimitText, Name, NoteText, ShortText, SignedForm, chosen

Initials = Annotated[str, Field(min_length=1, max_length=6)]
Town = Annotated[str, Field(max_length=120)]


class MergerForm(SignedForm):
    """Merges a shop into another; the same page can undo it."""

    into_id: Id


class UnmergingForm(SignedForm):
    """Undoes a merger."""


class ShopForm(SignedForm):
    name: Name
    town: Town = ""
    notes: NoteText = ""


class LimitForm(SignedForm):
    value: Annotated[LimitText, chosen("A limit is chosen: write a size.")]
    source: Annotated[ShortText, Field(min_length=1)]
