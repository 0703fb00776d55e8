from typing import Annotated

from pydantic import Field

from app.closed_sets import BitEventKind
from app.schemas.forms import NoteText, SignedForm, written_like


class BitForm(SignedForm):
    label: Annotated[str, Field(min_length=1, max_length=40)]
    material: Annotated[str, Field(max_length=60)] = ""
    bores_limit: Annotated[str, written_like(r"[0-9]{0,6}", "Write a whole number, or leave it empty.")] = ""
    notes: NoteText = ""


class BitEventForm(SignedForm):
    what: BitEventKind
    note: Annotated[str, Field(max_length=400)] = ""
