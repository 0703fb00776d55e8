from typing import Annotated, Literal

from pydantic import Field

from app.schemas.forms import NoteText, SignedForm, written_like

WHAT = {
    "collar_set": "collar set anew",
    "sharpened": "sharpened",
    "replaced": "replaced",
    "machine_moved": "machine moved or repaired",
}


class BitForm(SignedForm):
    label: Annotated[str, Field(min_length=1, max_length=40)]
    material: Annotated[str, Field(max_length=60)] = ""
    bores_limit: Annotated[str, written_like(r"[0-9]{0,6}", "Write a whole number, or leave it empty.")] = ""
    notes: NoteText = ""


class BitEventForm(SignedForm):
    what: Literal["collar_set", "sharpened", "replaced", "machine_moved"]
    note: Annotated[str, Field(max_length=400)] = ""
