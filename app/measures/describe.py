"""Describes a typed measure to read it back: words, 64ths, decimals, millimetres, and a direction to draw."""

from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction
from functools import partial
from typing import Any

from app.calculation.units import millimetres
from app.measures.amounts import WrittenDepth, read_depth, read_proud
from app.measures.axis_points import SidedAxisPoint, read_sided_axis_point
from app.measures.degrees import read_degrees
from app.measures.lengths import read_length
from app.measures.offsets import read_offset
from app.measures.ounces import GRAMS_PER_OUNCE, SIDES, read_ball_ounces, read_imbalance, read_ounces
from app.measures.ovals import Oval, Towards, read_clock, read_oval, read_towards
from app.measures.pairs import AxisPoint, SpanPair, read_span_pair
from app.measures.pitches import Pitch, read_pitch
from app.measures.reading import ANGLE_QUANTITIES, QUANTITIES, WEIGHT_QUANTITIES, Reading
from app.measures.wording import clock_words, decimal, exact, in_words, inches, pitch_words


@dataclass(frozen=True)
class Arrow:
    """A direction to draw on a small ball, in inches: up is towards the fingers, right as seen from outside."""

    up_in: float
    right_in: float


@dataclass(frozen=True)
class Described:
    """A reading put into words; `exact` holds the numbers by name as text that reads back to the same value."""

    reading: Reading[Any]
    words: str = ""
    numbers: str = ""
    exact: tuple[tuple[str, str], ...] = ()
    arrow: Arrow | None = None


def _choose_reader(kind: str, hand: str, hole: str, first: str, holes: str) -> Callable[[str], Reading[Any]]:
    readers: dict[str, Callable[[str], Reading[Any]]] = {
        "pitch": lambda text: read_pitch(text, hand, hole),
        "span_pair": lambda text: read_span_pair(text, first, holes),
        "oval": read_oval,
        "towards": read_towards,
        "clock": read_clock,
        "offset": read_offset,
        "axis_point": read_sided_axis_point,
        "written_depth": read_depth,
        "proud": read_proud,
        "ball_ounces": read_ball_ounces,
        **{f"heavy_{along}": partial(read_imbalance, along=along) for along in SIDES},
        **{name: partial(read_ounces, quantity=of) for name, of in WEIGHT_QUANTITIES.items()},
        **{name: partial(read_degrees, quantity=of) for name, of in ANGLE_QUANTITIES.items()},
    }
    return readers.get(kind) or (lambda text: read_length(text, QUANTITIES[kind]))


_HEAVY = {f"heavy_{along}": sides for along, sides in SIDES.items()}
_OF_OUNCES = {"ball_ounces", *_HEAVY, *WEIGHT_QUANTITIES}
KINDS = (
    *("pitch", "span_pair", "oval", "towards", "clock", "offset", "axis_point", "written_depth"),
    *("ball_ounces", *_HEAVY, *WEIGHT_QUANTITIES, *ANGLE_QUANTITIES, *QUANTITIES),
)


def describe(kind: str, text: str, hand: str = "", hole: str = "", first: str = "", holes: str = "three") -> Described:
    """Reads `text` as a measure of one of KINDS and puts the result into words; `holes` are those of its grip."""
    reading = _choose_reader(kind, hand, hole, first, holes)(text)
    if reading.state != "value":
        return Described(reading)
    return _describe_value(kind, reading, hand, hole)


def _describe_value(kind: str, reading: Reading[Any], hand: str, hole: str) -> Described:
    value = reading.value
    match value:
        case Pitch():
            result = _describe_pitch(value, hand, hole)
        case SpanPair():
            result = _describe_span_pair(value)
        case Oval():
            result = _describe_oval(value)
        case Towards():
            way = f" towards {clock_words(value.deg)}" if value.size_in else ""
            result = _Words(in_words(value.size_in) + way, _format_numbers(value.size_in), _list_named_values(value))
        case AxisPoint():
            way = "down" if value.up_in < 0 else "up"
            side = f" to the {value.side}" if isinstance(value, SidedAxisPoint) and value.side else ""
            over = f"{in_words(value.over_in)} over{side}"
            result = _Words(f"{over}, {in_words(value.up_in)} {way}", exact=_list_named_values(value))
        case WrittenDepth():
            result = _Words(in_words(value.depth_in), _format_numbers(value.depth_in), _list_named_values(value))
        case Fraction() if kind in _OF_OUNCES:
            result = _describe_ounces(kind, value)
        case Fraction():
            result = _describe_length(kind, value)
        case _:
            raise TypeError(f"no words for {value!r}")
    return Described(reading, result.words, result.numbers, result.exact, result.arrow)


@dataclass(frozen=True)
class _Words:
    words: str
    numbers: str = ""
    exact: tuple[tuple[str, str], ...] = ()
    arrow: Arrow | None = None


def _list_named_values(value: Any) -> tuple[tuple[str, str], ...]:
    return tuple((name, str(held)) for name, held in vars(value).items() if held not in {"", None})


def _describe_pitch(value: Pitch, hand: str, hole: str) -> _Words:
    up = float(value.forward_in if hole == "thumb" else -value.forward_in)
    return _Words(
        pitch_words(value.forward_in, value.right_in, hand, hole),
        f"{_format_numbers(abs(value.forward_in))}; {_format_numbers(abs(value.right_in))}",
        _list_named_values(value),
        Arrow(up, float(value.right_in)),
    )


def _describe_span_pair(value: SpanPair) -> _Words:
    known = [(name, size) for name, size in (("middle", value.middle_in), ("ring", value.ring_in)) if size is not None]
    missing = f"; {value.unknown} unknown" if value.unknown else ""
    return _Words(
        "; ".join(f"{name} {in_words(size)}" for name, size in known) + missing,
        "; ".join(f"{name} {_format_numbers(size)}" for name, size in known),
        _list_named_values(value),
    )


def _describe_oval(value: Oval) -> _Words:
    words = f"{in_words(value.hole_in)} round"
    if value.oval_in:
        words = f"{in_words(value.hole_in)} hole, {in_words(value.oval_in)} wider towards {clock_words(value.oval_deg)}"
    return _Words(
        words, f"{inches(value.hole_in)}, {inches(value.hole_in + value.oval_in)} wide", _list_named_values(value)
    )


def _describe_ounces(kind: str, value: Fraction) -> _Words:
    words = f"{exact(abs(value))} oz" if value.denominator <= 64 else f"{decimal(abs(value), 3)} oz"
    if kind == "ball_ounces":
        pounds, ounces = divmod(value, 16)
        words = f"{pounds} lb {exact(ounces)} oz"
    if kind in _HEAVY:
        words = f"{words} {_HEAVY[kind][value < 0]}" if value else "even"
    sign = "−" if value < 0 and kind not in _HEAVY else ""  # in `_HEAVY` the side says it
    numbers = f"{sign}{decimal(abs(value))} oz = {sign}{float(abs(value) * GRAMS_PER_OUNCE):.1f} g"
    return _Words(sign + words, numbers, (("ounces", str(value)),))


def _describe_length(kind: str, value: Fraction) -> _Words:
    if kind in ANGLE_QUANTITIES:
        return _Words(f"{exact(value)}°", exact=(("degrees", str(value)),))
    if kind == "clock":
        return _Words(clock_words(value), exact=(("clock_deg", str(value)),))
    if kind == "offset":
        side = f" to the {'right' if value > 0 else 'left'}" if value else ""
        return _Words(in_words(abs(value)) + side, _format_numbers(abs(value)), (("offset_in", str(value)),))
    words = in_words(value)
    if kind == "proud" and value:
        words += " proud" if value > 0 else " sunk"
    return _Words(words, _format_numbers(value), (("length_in", str(value)),))


def _format_numbers(value: Fraction) -> str:
    return f"{inches(value)} in = {decimal(value)} in = {millimetres(value):.2f} mm"
