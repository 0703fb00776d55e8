"""Two layouts side by side: how they differ in angles, arcs, places and balance."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from app.calculation.balances import TowardsAxis
from app.calculation.layouts import LaidOut
from app.measures.balance_words import WAYS, Way, interval_words, side_words
from app.measures.wording import degree_words, in_64ths
from app.pages.layout_views import list_arcs
from app.services.layout_balances import LayoutBalance
from app.services.layout_work_outs import WorkedLayout


@dataclass(frozen=True)
class Difference:
    """One line of two layouts side by side: lengths in inches, or angles in degrees; `words` is how far apart.

    Of a place `ways` say what is more than 0 and what is less.
    """

    what: str
    one: float
    other: float
    words: str
    is_angle: bool = False
    ways: tuple[str, str] = ("", "")


def compare(one: WorkedLayout, other: WorkedLayout) -> list[Difference]:
    """Two layouts in angles, arcs and places, the second less the first, lengths in 64ths."""
    mark = one.mark_name if one.mark_name == other.mark_name else "second mark"
    one, other = replace(one, mark_name=mark), replace(other, mark_name=mark)
    lines = [
        Difference(arc.words, arc.value_in, twin.value_in, tell_apart(arc.value_in, twin.value_in))
        for arc, twin in zip(list_arcs(one), list_arcs(other), strict=True)
    ]
    pairs = (("Axis-line angle", "axis_line_deg"), ("Drilling angle", "drilling_deg"))
    angles = [
        Difference(words, a, b, _tell_turned(a, b), is_angle=True)
        for words, name in pairs
        for a, b in [(getattr(one.laid.layout, name), getattr(other.laid.layout, name))]
    ]
    return [lines[0], *angles, *lines[1:], *_compare_places(one.laid, other.laid, mark)]


def _compare_places(one: LaidOut, other: LaidOut, mark: str) -> list[Difference]:
    found = []
    for name, words in (("pin", "Pin"), ("mark", mark.capitalize())):
        for i, (way, *ways) in enumerate((("along", "forward", "back"), ("across", "right", "left"))):
            a, b = one.places[name][i], other.places[name][i]
            more, less = ways
            found.append(Difference(f"{words}, {way}", a, b, tell_apart(a, b, *ways), ways=(more, less)))
    return found


def tell_apart(one: float, other: float, more: str = "longer", less: str = "shorter") -> str:
    """`+12/64 longer`; empty where no tape shows a difference."""
    words = in_64ths(other - one, more, less)
    return "" if words == "even" else words


def _tell_turned(one: float, other: float) -> str:
    turned = degree_words(other - one)
    return "" if turned == "0°" else turned if turned[0] == "−" else f"+{turned}"


# Balance --------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class BalanceLine:
    """One way of two balances in words: the second less the first, and of each (value, 95 % interval)."""

    what: str
    by: str
    each: tuple[tuple[str, str], ...]


def compare_balances(told: Sequence[LayoutBalance]) -> list[BalanceLine]:
    """The balances of two layouts by way and towards the axis point; empty where neither is known."""
    if not any(one.balance for one in told):
        return []
    headings = ("Right or left", "Finger or thumb", "Top or bottom")
    lines = [_compare_way(words, WAYS[i], i, told) for i, words in enumerate(headings)]
    towards = [one.towards for one in told]
    each = tuple(_tell_towards(one) for one in towards)
    sides = [one.side_oz for one in towards if one]
    by = side_words(sides[1] - sides[0], "axis") if len(sides) > 1 else ""
    return [*lines, BalanceLine("Towards the axis point", by, each)]


def _compare_way(words: str, way: Way, i: int, told: Sequence[LayoutBalance]) -> BalanceLine:
    found = [one.balance for one in told]
    each = tuple(
        (side_words(one.ounces[i], way), interval_words(interval, way))
        if one and (interval := one.find_interval(i))
        else ("", "")
        for one in found
    )
    values = [one.ounces[i] for one in found if one]
    return BalanceLine(words, side_words(values[1] - values[0], way) if len(values) > 1 else "", each)


def _tell_towards(of: TowardsAxis | None) -> tuple[str, str]:
    if of is None or of.side_interval_oz is None:
        return "", ""
    return side_words(of.side_oz, "axis"), interval_words(of.side_interval_oz, "axis")
