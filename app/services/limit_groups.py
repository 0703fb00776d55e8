"""The shop's limits grouped by what they govern, each with an example worked with its present value."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from fractions import Fraction

from app.measures.wording import decimal, inches
from app.services.shop_limits import SetLimit

_64TH = Fraction(1, 64)
_HOLE, _DEPTH, _FINGER, _BORE, _PITCH = Fraction(15, 16), Fraction(11, 4), Fraction(1), Fraction(3, 2), Fraction(1, 4)
GROUPS = {  # what they govern, and the limits in the order in which they matter
    "When a drilling is green": ("tolerance", "span_spread"),
    "When an inner sits flush": (
        "lip", "collar_spread", "ball_spread", "told_spread", "height_spread", "resolution", "repeatability",
    ),
    "What a plan has to keep": (
        "least_wall", "least_web", "least_bridge", "least_surface", "safe_depth", "finger_depth", "cusp",
    ),
    "What a layout has to keep": ("least_to_pin", "least_to_mark", "least_to_track"),
    "When the bench stops": ("met_depth", "met_hole_depth", "met_pitch", "met_bit"),
}  # fmt: skip


@dataclass(frozen=True)
class Worked:
    """One limit and what it comes to, in one sentence."""

    set: SetLimit
    example: str

    @property
    def name(self) -> str:
        return self.set.limit.name


@dataclass(frozen=True)
class Group:
    """Limits that govern one thing."""

    words: str
    limits: list[Worked]

    @property
    def assumed(self) -> int:
        return sum(one.set.is_assumed for one in self.limits)


def group_limits(limits: Mapping[str, SetLimit]) -> list[Group]:
    """Returns every limit in its group with its example."""
    return [
        Group(words, [Worked(limits[name], work_example(limits[name])) for name in names])
        for words, names in GROUPS.items()
    ]


def work_example(of: SetLimit) -> str:
    """Returns what a limit comes to at its present value."""
    return _EXAMPLES[of.limit.name](of)


def _edge(words: str, start: Fraction = Fraction(0)) -> Callable[[SetLimit], str]:
    """An example of a most: `{at}` is still allowed, `{past}`, a 64th more, is not."""

    def tell(of: SetLimit) -> str:
        at = start + of.value_in
        return words.format(start=inches(start), at=inches(at), past=inches(at + _64TH))

    return tell


def _least(words: str) -> Callable[[SetLimit], str]:
    """An example of a least: `{at}` passes, `{under}`, a 64th less, fails."""
    return lambda of: words.format(at=inches(of.value_in), under=inches(max(of.value_in - _64TH, Fraction(0))))


def _sure(words: str) -> Callable[[SetLimit], str]:
    """An example of a doubt: 95 of 100 readings are as near as half the interval of one."""
    return lambda of: f"95 of 100 {words} are within {decimal(of.half_width_in, 3)} in."


def _tell_division(of: SetLimit) -> str:
    half = of.value_in / 2
    least, most = decimal(of.value_in - half, 3), decimal(of.value_in + half, 3)
    return f"Read as {inches(of.value_in)} proud it may stand {least} to {most}."


def _tell_wall(of: SetLimit) -> str:
    return f"A thumb hole of {inches(_HOLE)} needs an inner of {inches(_HOLE + 2 * of.value_in)} or wider."


_EXAMPLES: dict[str, Callable[[SetLimit], str]] = {
    "tolerance": _edge("A sleeve to cut {at} longer than predicted is still within; {past} is long."),
    "span_spread": _sure("single readings of a sleeve to cut"),
    "lip": _edge("An inner {at} proud on one side still counts as flush; {past} does not."),
    "collar_spread": _sure("measurements of our collar"),
    "ball_spread": _sure("depths read off a ball"),
    "told_spread": _sure("depths that somebody told us"),
    "height_spread": _sure("heights of a loose inner’s rim"),
    "resolution": _tell_division,
    "repeatability": lambda of: (
        f"Two of three trials of the same fit differ from their mean by less than {inches(of.value_in)}."
    ),
    "least_wall": _tell_wall,
    "least_web": _least("Two holes that come as near as {at} inside the ball pass; {under} fails."),
    "least_bridge": _least("A bridge cut to {at} passes; {under} fails."),
    "least_surface": _least("{at} from the sleeve’s edge to a finger hole passes; {under} fails."),
    "least_to_pin": _least("A hole {at} from the pin passes; {under} is named as a conflict."),
    "least_to_mark": _least("A hole {at} from the mass mark passes; {under} is named as a conflict."),
    "least_to_track": _least("A hole {at} from the track passes; {under} is named as a conflict."),
    "safe_depth": _edge("In a ball without a depth of its own a floor at {at} passes; {past} fails."),
    "finger_depth": lambda of: (
        f"A fit that gives no depth is drilled {inches(of.value_in)} deep at the fingers, if the walls allow."
    ),
    "cusp": lambda of: f"An oval gets as many plunges as leave no ridge higher than {decimal(of.value_in)} in.",
    "met_depth": _edge("Planned {start}, met {at}: the bench goes on. Met {past}: it stops.", _DEPTH),
    "met_hole_depth": _edge("A finger planned {start}, met {at}: the bench goes on. Met {past}: it stops.", _FINGER),
    "met_pitch": _edge("A pitch planned {start} reverse, met {at}: the bench goes on. Met {past}: it stops.", _PITCH),
    "met_bit": _edge("A bit planned {start}, met {at}: the bench goes on. Met {past}: it stops.", _BORE),
}
