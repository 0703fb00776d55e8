"""Forms of the shelf: a part, a delivery, a count, and a movement that is taken back."""

from collections.abc import Mapping
from fractions import Fraction
from typing import Annotated

from pydantic import BeforeValidator, Field

from app.closed_sets import PartKind
from app.errors import FieldError
from app.schemas.forms import DiameterText, Length, OptionalId, SignedForm, chosen, read_whole
from app.schemas.taken_back import Why

_MOST = 100_000


def _is_empty(value: object) -> bool:
    return not str(value or "").strip()


def _read_count(value: object, least: int) -> int:
    if _is_empty(value):
        raise ValueError("How many?")
    return read_whole(value, least, _MOST)


OptionalWhole = Annotated[
    int | None, BeforeValidator(lambda value: None if _is_empty(value) else _read_count(value, 0))
]
Whole = Annotated[int, BeforeValidator(lambda v: _read_count(v, 0))]
Some = Annotated[int, BeforeValidator(lambda v: _read_count(v, 1))]
_NOBODY_KNOWS = "Leave it empty where nobody measured it."
MeasuredText = Annotated[DiameterText, chosen(_NOBODY_KNOWS)]
SizeText = Annotated[DiameterText, chosen("A part without a known size is counted without one: leave it empty.")]
_OF_HARDWARE: Mapping[str, str] = {"inner": "thumb", "sleeve": "thumb", "slug": "thumb", "insert": "finger"}


class PartForm(SignedForm):
    """A kind of part in one size, lot and colour."""

    kind: PartKind
    system_id: OptionalId = None
    label: Annotated[str, Field(min_length=1, max_length=80)]
    size: SizeText
    lot: Annotated[str, Field(max_length=60)] = ""
    colour: Annotated[str, Field(max_length=60)] = ""
    least: OptionalWhole = None
    cure_minutes: OptionalWhole = None
    outside_low: MeasuredText
    outside_high: MeasuredText
    is_retired: bool = False

    @property
    def digit(self) -> str:
        """What its hardware is for, `thumb` or `finger`; empty for a part without hardware."""
        return _OF_HARDWARE.get(self.kind, "")

    def find_wrong(self) -> dict[str, FieldError]:
        wrong = {}
        if self.digit and not self.system_id:
            wrong["system_id"] = FieldError("Of which hardware?")
        if self.kind in {"inner", "insert"} and self.size.value is None:
            wrong["size"] = FieldError("Drillings ask for it by its size: write it.")
        if self.cure_minutes is not None and self.kind != "glue":
            wrong["cure_minutes"] = FieldError("Only glue or resin cures: leave this empty.")
        if self.cure_minutes == 0:
            wrong["cure_minutes"] = FieldError("Write at least 1 minute, as its maker's sheet says, or leave it empty.")
        return wrong | _find_wrong_outsides(self.outside_low, self.outside_high)


def _find_wrong_outsides(low: Length, high: Length) -> dict[str, FieldError]:
    if (low.value is None) != (high.value is None):
        missing = "outside_low" if low.value is None else "outside_high"
        return {missing: FieldError("Write the least and the greatest; of one piece both are the same.")}
    if low.value is not None and high.value is not None and Fraction(low.value) > high.value:
        return {"outside_high": FieldError("The greatest is less than the least.")}
    return {}


class DeliveryForm(SignedForm):
    """So many came in."""

    count: Some
    why: Annotated[str, Field(max_length=400)] = ""


class CountForm(SignedForm):
    """So many were counted on the shelf, with the reason if it is not what was expected."""

    counted: Whole
    why: Why


class UndoingForm(SignedForm):
    """Takes a movement back; a use may have been of another lot, `instead_id`, which is then counted down."""

    why: Why
    instead_id: OptionalId = None
