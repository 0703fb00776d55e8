"""What the page of a balance is asked: from where to count, under which regulation, what may change, and a weighing."""

from fractions import Fraction
from typing import Annotated

from pydantic import Field, model_validator

from app.closed_sets import AcrossWay, AlongWay
from app.errors import FieldError
from app.measures.lengths import read_length
from app.measures.reading import CHANGE, SIZE_CHANGE, Reading
from app.schemas.balances import TopWeightText
from app.schemas.forms import ArcText, Form, OptionalId, chosen
from app.schemas.weighings import WeighingForm

_START = chosen("Without it nothing can be counted: measure it, or leave it empty to count with the ball’s marks.")
_WAY = {"along": "Towards the fingers, or towards the thumb?", "across": "To the right, or to the left?"}


class LookForm(Form):
    """Where the heavy spot lies from the grip centre, and the top weight, where the ball's marks do not tell."""

    regulation_id: OptionalId = None
    scale_for_arm: OptionalId = None
    start_top: Annotated[TopWeightText, _START]
    along: Annotated[ArcText, _START]
    along_way: AlongWay | None = None
    across: Annotated[ArcText, _START]
    across_way: AcrossWay | None = None

    @model_validator(mode="before")
    @classmethod
    def empty_ways(cls, posted: dict[str, object]) -> dict[str, object]:
        return posted | {name: posted.get(name) or None for name in ("along_way", "across_way")}

    def find_wrong(self) -> dict[str, FieldError]:
        """Asks for the other of two arcs, and for the way of one that is not 0."""
        arcs, ways = {"along": self.along, "across": self.across}, {"along": self.along_way, "across": self.across_way}
        given = {name for name, arc in arcs.items() if arc.value is not None}
        if not given:
            return {}
        wrong = {
            name: FieldError("How far is it this way? Write 0 if it is on the line.") for name in arcs.keys() - given
        }
        return wrong | {n: FieldError(_WAY[n]) for n in given if arcs[n].value and ways[n] is None}

    @property
    def place_in(self) -> tuple[Fraction, Fraction] | None:
        """(along, across) from the grip centre, signed; None where it was not typed."""
        if self.along.value is None or self.across.value is None:
            return None
        along = -self.along.value if self.along_way == "palm" else self.along.value
        return along, -self.across.value if self.across_way == "left" else self.across.value


class BalanceWeighingForm(LookForm, WeighingForm):
    """A weighing, and what the prediction that it is held against counts with.

    `as_read` says that what was asked about is as it was read.
    """

    as_read: bool = False

    def find_wrong(self) -> dict[str, FieldError]:
        return WeighingForm.find_wrong(self) | LookForm.find_wrong(self)


class RemedyForm(LookForm):
    """What the driller lets change, and how far either way: `far` by names such as `along`, `depth_0` or `size_2`."""

    far: dict[str, Reading[Fraction]] = Field(default_factory=dict)

    @model_validator(mode="before")
    @classmethod
    def collect_changes(cls, posted: dict[str, object]) -> dict[str, object]:
        names = [name.removeprefix("may_") for name, value in posted.items() if name.startswith("may_") and value]
        return posted | {"far": {name: _read_far(name, str(posted.get(f"far_{name}") or "")) for name in names[:20]}}

    def find_wrong(self) -> dict[str, FieldError]:
        wrong = {
            f"far_{name}": FieldError(reading.message or "How far may it change?", reading.choices)
            for name, reading in self.far.items()
            if reading.state != "value"
        }
        return super().find_wrong() | wrong


def _read_far(name: str, text: str) -> Reading[Fraction]:
    return read_length(text, SIZE_CHANGE if name.startswith("size_") else CHANGE)
