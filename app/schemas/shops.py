from typing import Annotated

from pydantic import Field

from app.closed_sets import Accent
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


class LookForm(SignedForm):
    """How a shop's pages look; its picture comes as a file."""

    accent: Accent
    takes_picture_away: bool = False


class LimitForm(SignedForm):
    value: Annotated[LimitText, chosen("A limit is chosen: write a size.")]
    source: Annotated[ShortText, Field(min_length=1)]
