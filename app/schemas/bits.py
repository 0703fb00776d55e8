from typing import Annotated, Literal

from pydantic import Field

from app.schemas.forms import Form, NoteText

WHAT = {
    "collar_set": "collar set anew",
    "sharpened": "sharpened",
    "replaced": "replaced",
    "machine_moved": "machine moved or repaired",
}


class BitForm(Form):
    label: Annotated[str, Field(min_length=1, max_length=40)]
    material: Annotated[str, Field(max_length=60)] = ""
    bores_limit: Annotated[str, Field(max_length=6, pattern=r"^\d*$")] = ""
    notes: NoteText = ""


class BitEventForm(Form):
    what: Literal["collar_set", "sharpened", "replaced", "machine_moved"]
    note: Annotated[str, Field(max_length=400)] = ""
