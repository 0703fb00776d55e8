from datetime import date
from typing import Annotated, Literal

from pydantic import Field

from app.closed_sets import AcrossWay, AlongWay, OldHoleDigit, OldHoleState
from app.errors import FieldError
from app.schemas.forms import (
    ArcText,
    ClockText,
    Form,
    NeededArcText,
    OptionalDay,
    OptionalId,
    OptionalPastDay,
    SaidDepthText,
    SaidHoleText,
    SaidPitchText,
    SignedForm,
    chosen,
)

_PLACE = chosen("Measure it from the mark: a hole that is nowhere cannot be counted.")
_GRIP = chosen("Where the new grip goes is chosen: write it, or leave this empty.")
Along = AlongWay | Literal[""]
Across = AcrossWay | Literal[""]
FillText = Annotated[str, Field(max_length=80)]


class OldHoleForm(SignedForm):
    """A hole that is in a ball already; `hole` is its digit and, with `hand`, says how its pitch is read."""

    hole: OldHoleDigit
    hand: str = ""
    label: Annotated[str, Field(max_length=40)] = ""
    along: Annotated[ArcText, _PLACE]
    along_way: Along = ""
    span: Annotated[ArcText, _PLACE]
    span_from: OptionalId = None
    across: Annotated[NeededArcText, _PLACE]
    across_way: Across = ""
    size: SaidHoleText
    pitch: SaidPitchText
    depth: SaidDepthText
    state: OldHoleState
    filling: FillText = ""
    filled_by: FillText = ""
    filled_on: OptionalPastDay = None
    drill_from: OptionalDay = None

    def find_wrong(self) -> dict[str, FieldError]:
        return self._find_wrong_place() | _find_early(self.filled_on, self.drill_from)

    def _find_wrong_place(self) -> dict[str, FieldError]:
        """Asks about a place along the centre line that is given twice, half or not at all."""
        if self.span.value is None:
            is_said = self.along.value is not None
            return {} if is_said else {"along": FieldError("This is needed, or the span to a hole that is known.")}
        if self.along.value is not None:
            return {"span": FieldError("An arc from the mark and a span: which was measured? Empty the other.")}
        if self.span_from is None:
            return {"span_from": FieldError("The span to which hole?")}
        return {} if self.size.value else {"size": FieldError("A span ends at this hole's own edge: how wide is it?")}


class GripMarkForm(Form):
    """Where a new grip centre goes from the mark on the ball, and which way its centre line runs; empty: on it."""

    mark_along: Annotated[ArcText, _GRIP]
    mark_along_way: Along = ""
    mark_across: Annotated[ArcText, _GRIP]
    mark_across_way: Across = ""
    mark_turn: Annotated[ClockText, _GRIP]


def _find_early(filled_on: date | None, drill_from: date | None) -> dict[str, FieldError]:
    """Asks about a plug that may be drilled before it was filled."""
    is_early = filled_on is not None and drill_from is not None and drill_from < filled_on
    return (
        {"drill_from": FieldError("That is before it was filled. From which day may it be drilled?")}
        if is_early
        else {}
    )


class FillingForm(Form):
    """What the holes of a drilling are filled with, by whom and when, and which of them stay open."""

    filling: FillText = ""
    filled_by: FillText = ""
    filled_on: OptionalPastDay = None
    drill_from: OptionalDay = None
    open_thumb: bool = False
    open_middle: bool = False
    open_ring: bool = False

    def find_wrong(self) -> dict[str, FieldError]:
        return _find_early(self.filled_on or date.today(), self.drill_from)
