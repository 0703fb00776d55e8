"""What came of reading one typed text."""

from dataclasses import dataclass
from fractions import Fraction
from typing import Generic, Literal, TypeVar

T = TypeVar("T")
State = Literal["value", "absent", "unknown", "ask", "error"]


@dataclass(frozen=True)
class Reading(Generic[T]):
    """A value with its warnings; or nothing meant, or unknown (three different things); or a question; or an error."""

    text: str
    state: State
    value: T | None = None
    warnings: tuple[str, ...] = ()
    message: str = ""
    choices: tuple[str, ...] = ()

    @property
    def is_usable(self) -> bool:
        return self.state in {"value", "absent", "unknown"}


class Ask(Exception):
    """Internal to app.measures: the text can be read in two ways."""

    def __init__(self, message: str, *choices: str) -> None:
        super().__init__(message)
        self.message, self.choices = message, choices


class Refuse(Exception):
    """Internal to app.measures: the text cannot be read, or says what cannot be."""

    def __init__(self, message: str) -> None:
        super().__init__(message)
        self.message = message


@dataclass(frozen=True)
class Quantity:
    """What a field holds: its name in a sentence, hard limits and what is usual, all in inches.

    The usual ranges are ASSUMED (common practice, no source) and only ever warn.
    """

    name: str
    low: Fraction
    high: Fraction
    usual_low: Fraction
    usual_high: Fraction
    is_signed: bool = False


def _quantity(name: str, low: str, high: str, usual_low: str, usual_high: str) -> Quantity:
    limits = [Fraction(x) for x in (low, high, usual_low, usual_high)]
    return Quantity(name, limits[0], limits[1], limits[2], limits[3], is_signed=limits[0] < 0)


SPAN = _quantity("span", "1", "8", "2.5", "6")
SLEEVE_TO_CUT = _quantity("sleeve-to-cut", "1", "8", "2", "6")
HOLE = _quantity("hole size", "0.2", "2", "0.5", "1.5")
BRIDGE = _quantity("bridge", "0.02", "2", "1/8", "1/2")
PITCH = _quantity("pitch", "-1.5", "1.5", "-1", "1")
OVAL = _quantity("oval", "0", "0.75", "0", "1/4")
DIAMETER = _quantity("diameter", "0.3", "3", "0.5", "2")
DEPTH = _quantity("depth", "0.1", "6", "0.5", "4")
CIRCUMFERENCE = _quantity("circumference", "25.5", "27.5", "26.704", "27.002")
PROUD = _quantity("height", "-1", "1", "-1/8", "1/8")
TOLERANCE = _quantity("tolerance", "0", "0.25", "0", "1/16")
ALLOWANCE = _quantity("limit", "0", "6", "0", "6")
RESOLUTION = _quantity("smallest division", "0", "0.25", "0", "1/16")
QUANTITIES = {
    "span": SPAN, "sleeve_to_cut": SLEEVE_TO_CUT, "hole": HOLE, "bridge": BRIDGE, "oval_width": OVAL,
    "diameter": DIAMETER, "depth": DEPTH, "circumference": CIRCUMFERENCE, "proud": PROUD,
    "tolerance": TOLERANCE, "resolution": RESOLUTION, "allowance": ALLOWANCE,
}  # fmt: skip
