"""The numbers that a step shows the driller, frozen with it, and their JSON.

Each number names its class in `kind`, so steps of any age are read by the same code. Kinds that new steps no longer
use stay here, because stored steps hold them.
"""

from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from typing import Annotated, Literal

from pydantic import Field, JsonValue, TypeAdapter
from sqlalchemy import JSON
from sqlalchemy.engine import Dialect
from sqlalchemy.types import TypeDecorator


@dataclass(frozen=True)
class LengthNumber:
    what: str
    value_in: float
    words: str = ""
    kind: Literal["length"] = "length"


@dataclass(frozen=True)
class PitchNumber:
    """A pitch; `hole` is `thumb` or `finger`, because forward points the other way for a finger."""

    forward_in: float
    right_in: float
    hole: str
    what: str = "pitch"
    kind: Literal["pitch"] = "pitch"


@dataclass(frozen=True)
class CutNumber:
    """Places of a bit's own near edge and centre, along and across from the grip centre.

    `move_in` is the table's move from plunge 0; None for the first cut of a hole.
    """

    what: str
    edge_in: tuple[float, float]
    centre_in: tuple[float, float]
    move_in: tuple[float, float] | None = None
    kind: Literal["cut"] = "cut"


@dataclass(frozen=True)
class MarkNumber:
    """One mark of the layout, inches of arc of 0 or more; `words` say from where and to which side."""

    what: str
    value_in: float
    words: str = ""
    kind: Literal["mark"] = "mark"


@dataclass(frozen=True)
class ClockNumber:
    what: str
    deg: Fraction | None
    kind: Literal["clock"] = "clock"


@dataclass(frozen=True)
class TextNumber:
    """Words in place of a number."""

    what: str
    words: str
    kind: Literal["text"] = "text"


@dataclass(frozen=True)
class PlaceNumber:
    """A near edge in steps stored before each bit had its own; read only."""

    what: str
    along_in: float
    across_in: float
    words: str = ""
    kind: Literal["place"] = "place"


@dataclass(frozen=True)
class MoveNumber:
    """A plunge of an oval in steps stored before each plunge had its own near edge; read only."""

    what: str
    along_in: float
    across_in: float
    kind: Literal["move"] = "move"


Number = LengthNumber | PitchNumber | CutNumber | MarkNumber | ClockNumber | TextNumber | PlaceNumber | MoveNumber
Numbers = tuple[Number, ...]


@cache  # built on first use, so that the app starts faster
def _adapter() -> TypeAdapter[Numbers]:
    return TypeAdapter(tuple[Annotated[Number, Field(discriminator="kind")], ...])


def read_numbers(stored: JsonValue) -> Numbers:
    """Parses the numbers of a step from JSON; raises ValueError for anything else."""
    return _adapter().validate_python(stored)


def write_numbers(numbers: Numbers) -> JsonValue:
    written: JsonValue = _adapter().dump_python(numbers, mode="json")
    return written


class NumbersColumn(TypeDecorator[Numbers]):
    """A JSON column with the numbers of a step."""

    impl = JSON
    cache_ok = True

    def process_bind_param(self, value: Numbers | None, dialect: Dialect) -> JsonValue:
        return write_numbers(value or ())

    def process_result_value(self, value: JsonValue, dialect: Dialect) -> Numbers | None:
        return None if value is None else read_numbers(value)  # an outer join without a row
