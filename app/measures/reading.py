"""What came of reading one typed text.

A reading holds a value, or says that the field is empty, or unknown, or asks a question with choices, or names an
error; it never raises.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from fractions import Fraction
from typing import Generic, Literal, TypeVar

T = TypeVar("T")
W = TypeVar("W")
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
    def given(self) -> T:
        """The value of a field that has to hold one; its form has refused anything else."""
        if self.value is None:
            raise ValueError(f"no value was read from {self.text!r}")
        return self.value

    @property
    def is_usable(self) -> bool:
        return self.state in {"value", "absent", "unknown"}


class Ask(Exception):
    """Internal to app.measures: the text can be read in two ways."""

    def __init__(self, message: str, *choices: str) -> None:
        super().__init__(message)
        self.message, self.choices = message, choices


class AskUnit(Ask):
    """A number that is only possible in another unit: weaker than a reading that needs no question."""


class Refuse(Exception):
    """Internal to app.measures: the text cannot be read, or says what cannot be."""

    def __init__(self, message: str) -> None:
        super().__init__(message)
        self.message = message


def asking_within(read: Callable[[], T], offer: Callable[[str], str]) -> T:
    """What `read` reads of a part of a text; its choices are put back into the whole text by `offer`."""
    try:
        return read()
    except Ask as ask:
        raise type(ask)(ask.message, *(offer(choice) for choice in ask.choices)) from None


def one_of(ways: Iterable[W], read: Callable[[W, list[str]], T], write: Callable[[T], str], warnings: list[str]) -> T:
    """What a text means that can be taken in several `ways`: the only value, or Ask with each, or the first refusal."""
    values: dict[T, list[str]] = {}
    asks: list[Ask] = []
    refusals: list[Ask | Refuse] = []
    for way in ways:
        found: list[str] = []
        try:
            values.setdefault(read(way, found), found)
        except (AskUnit, Refuse) as refusal:
            refusals.append(refusal)
        except Ask as ask:
            asks.append(ask)
    if len(values) == 1 and not asks:
        ((value, found),) = values.items()
        warnings += found
        return value
    weak = [refusal for refusal in refusals if isinstance(refusal, AskUnit)]
    if values or asks:
        choices = dict.fromkeys([*(c for ask in (*asks, *weak) for c in ask.choices), *(write(v) for v in values)])
        raise Ask(asks[0].message if asks else "That can be read in more than one way.", *choices)
    raise (weak or refusals)[0]


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
