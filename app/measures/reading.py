"""The result of reading one typed text.

A reading is a value, an empty field, an unknown measure, a question with choices, or an error. Reading never raises.
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
    """One of: a value with its warnings; absent; unknown; a question (`ask`) with its choices; an error."""

    text: str
    state: State
    value: T | None = None
    warnings: tuple[str, ...] = ()
    message: str = ""
    choices: tuple[str, ...] = ()

    @property
    def given(self) -> T:
        """The value of a required field: its form has refused anything else. ValueError without one."""
        if self.value is None:
            raise ValueError(f"no value was read from {self.text!r}")
        return self.value

    @property
    def is_usable(self) -> bool:
        return self.state in {"value", "absent", "unknown"}


class Ask(Exception):
    """Internal to app.measures: the text can be read in more than one way."""

    def __init__(self, message: str, *choices: str) -> None:
        super().__init__(message)
        self.message, self.choices = message, tuple(dict.fromkeys(choices))


class AskUnit(Ask):
    """A number that is only possible in another unit; a reading that needs no question is preferred."""


class Refuse(Exception):
    """Internal to app.measures: the text cannot be read, or its value is impossible."""

    def __init__(self, message: str) -> None:
        super().__init__(message)
        self.message = message


def ask_within(read: Callable[[], T], offer: Callable[[str], str]) -> T:
    """Calls `read` on a part of a text; `offer` turns the choices of its question into choices for the whole text."""
    try:
        return read()
    except Ask as ask:
        raise type(ask)(ask.message, *(offer(choice) for choice in ask.choices)) from None


def pick_meaning(
    ways: Iterable[W], read: Callable[[W, list[str]], T], write: Callable[[T], str], warnings: list[str]
) -> T:
    """Returns the only value that `read` finds in several `ways`; raises Ask with each value, or the first refusal."""
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
    """The quantity of a field: its name in sentences, its hard limits and its usual range, in inches.

    Of `WEIGHT_QUANTITIES` and `ANGLE_QUANTITIES` they are in ounces and in degrees.

    The usual ranges are ASSUMED (common practice, no source) and only ever warn.
    """

    name: str
    low: Fraction
    high: Fraction
    usual_low: Fraction
    usual_high: Fraction

    @property
    def is_signed(self) -> bool:
        return self.low < 0


def _make_quantity(name: str, low: str, high: str, usual_low: str, usual_high: str) -> Quantity:
    return Quantity(name, *map(Fraction, (low, high, usual_low, usual_high)))


SPAN = _make_quantity("span", "1", "8", "2.5", "6")
REACH = _make_quantity("reach", "0.25", "6", "1", "4")
OFFSET = _make_quantity("offset", "0", "1", "0", "1/2")
SLEEVE_TO_CUT = _make_quantity("sleeve-to-cut", "1", "8", "2", "6")
HOLE = _make_quantity("hole size", "0.2", "2", "0.5", "1.5")
BRIDGE = _make_quantity("bridge", "0.02", "2", "1/8", "1/2")
PITCH = _make_quantity("pitch", "-1.5", "1.5", "-1", "1")
OVAL = _make_quantity("oval", "0", "0.75", "0", "1/4")
LIFT = _make_quantity("distance off the axis", "0", "0.5", "0", "1/8")
DIAMETER = _make_quantity("diameter", "0.3", "3", "0.5", "2")
DEPTH = _make_quantity("depth", "0.1", "6", "0.5", "4")
CIRCUMFERENCE = _make_quantity("circumference", "25.5", "27.5", "26.704", "27.002")
PROUD = _make_quantity("height", "-1", "1", "-1/8", "1/8")
TOLERANCE = _make_quantity("tolerance", "0", "0.25", "0", "1/16")
SHIM = _make_quantity("shim", "0.001", "2", "0.001", "1/2")
ALLOWANCE = _make_quantity("limit", "0", "6", "0", "6")
ARC = _make_quantity("place", "0", "14", "0", "7")
CHANGE = _make_quantity("change", "1/64", "2", "1/16", "1")
SIZE_CHANGE = _make_quantity("change", "1/128", "1/2", "1/64", "1/4")
HOLE_LIMIT = _make_quantity("limit", "0.02", "3", "1/16", "3/2")
MARK_DOUBT = _make_quantity("doubt of a mark", "0.001", "1", "1/64", "1/4")
ARM_DOUBT = _make_quantity("doubt of the arm", "0.001", "2", "0.005", "1/4")
MASS_LIFT = _make_quantity("height of the mass's middle", "0", "2", "0", "1/2")
SCALE_ARM = _make_quantity("arm", "0.5", "12", "3", "6")
RESOLUTION = _make_quantity("smallest division", "0", "0.25", "0", "1/16")
QUANTITIES = {
    "span": SPAN, "reach": REACH, "sleeve_to_cut": SLEEVE_TO_CUT, "hole": HOLE, "bridge": BRIDGE, "oval_width": OVAL,
    "diameter": DIAMETER, "depth": DEPTH, "circumference": CIRCUMFERENCE, "proud": PROUD,
    "tolerance": TOLERANCE, "shim": SHIM, "resolution": RESOLUTION, "allowance": ALLOWANCE, "arc": ARC,
    "mark_doubt": MARK_DOUBT, "scale_arm": SCALE_ARM, "arm_doubt": ARM_DOUBT, "hole_limit": HOLE_LIMIT,
    "change": CHANGE, "size_change": SIZE_CHANGE, "mass_lift": MASS_LIFT,
}  # fmt: skip
TOP_WEIGHT = _make_quantity("top weight", "0", "8", "1", "5")
IMBALANCE = _make_quantity("reading", "-12", "12", "-4", "4")
SCALE_READING = _make_quantity("reading", "-12", "12", "-8", "8")  # minus: the other side is the heavier
KNOWN_MASS = _make_quantity("known mass", "0.01", "64", "1/2", "16")
MASS_DOUBT = _make_quantity("doubt of the mass", "0.0001", "4", "0.001", "1/8")
SCALE_STEP = _make_quantity("smallest division", "0.001", "1", "0.01", "1/4")
SMALL_LIMIT = _make_quantity("limit", "0", "16", "1/2", "4")
WEIGHT_QUANTITIES = {
    "top_weight": TOP_WEIGHT, "known_mass": KNOWN_MASS, "scale_step": SCALE_STEP, "ounce_limit": SMALL_LIMIT,
    "scale_reading": SCALE_READING, "mass_doubt": MASS_DOUBT,
}  # fmt: skip
LAYOUT_ANGLE = _make_quantity("angle", "-180", "180", "0", "180")
ANGLE_QUANTITIES = {"layout_angle": LAYOUT_ANGLE}
