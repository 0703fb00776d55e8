"""Texts that hold two or three measures: span pairs, ovals, clock directions, axis points, depths with a datum."""

import re
from dataclasses import dataclass
from fractions import Fraction

from app.measures.lengths import NUMBER, UNIT, length_of, length_with, number_of, read_by
from app.measures.reading import DEPTH, HOLE, OVAL, PROUD, SPAN, Ask, Quantity, Reading, Refuse
from app.measures.wording import exact, inches

# Span pairs ---------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class SpanPair:
    """Spans to the middle and the ring finger, inches; `edges` when the text names them, else empty."""

    middle_in: Fraction
    ring_in: Fraction
    edges: str = ""


_EDGE_WORDS = {
    r"sleeve[- ]to[- ]cut|to sleeve|sleeve": "sleeve",
    r"with inserts?|finished|fitted": "finished",
    r"bare|cut": "cut",
}
_MIDDLE, _RING = r"(?:middle|mid|m)", r"(?:ring|r)"
_BETWEEN = re.compile(r"\s+x\s+|\s*,\s*|\s+by\s+|\s+and\s+|\s+/\s+|\s+-\s+(?=\d+(?:\s|\.|-|\"|$))|(?<=[\d\"])x(?=\d)|;")


def read_span_pair(text: str, first: str = "") -> Reading[SpanPair]:
    """Reads `4 1/2 x 4 7/16`. `first` is which finger the field says comes first; without it a bare pair asks."""

    def of(plain: str, warnings: list[str]) -> SpanPair:
        rest, edges = _without_edges(plain)
        middle, ring = _pair(rest, first, warnings)
        if abs(middle - ring) > Fraction(3, 8):
            warnings.append(f"Unusual: the two spans differ by {inches(abs(middle - ring))} in.")
        return SpanPair(middle, ring, edges)

    return read_by(text, of)


def _without_edges(plain: str) -> tuple[str, str]:
    if re.search(r"\bcent(?:re|er)s?\b|\bstraight\b", plain):
        raise Ask("Spans here run along the surface from edge to edge. Which edges were measured?")
    for pattern, edges in _EDGE_WORDS.items():
        if re.search(rf"\b(?:{pattern})\b", plain):
            return re.sub(rf"\s*\(?\b(?:{pattern})\b(?: edges?)?\)?", "", plain).strip(" ,"), edges
    return re.sub(r"\s*\b(?:along )?(?:the )?surface\b", "", plain), ""


def _pair(plain: str, first: str, warnings: list[str]) -> tuple[Fraction, Fraction]:
    both = re.fullmatch(r"(?:both\s+(.+)|(.+?)\s+(?:both|even))", plain)
    if both:
        value = length_with(both[1] or both[2], SPAN, warnings)
        return value, value
    offset = re.fullmatch(
        rf"(?P<base>{NUMBER})\s*(?P<sign>[-+])\s*(?P<more>{NUMBER})\s*(?P<finger>{_MIDDLE}|{_RING})", plain
    )
    if offset and "/" in offset["more"] + offset["base"]:
        base, more = length_with(offset["base"], SPAN, warnings), number_of(offset["more"])[0]
        other = base + (more if offset["sign"] == "+" else -more)
        return (base, other) if re.fullmatch(_RING, offset["finger"]) else (other, base)
    labelled = _labelled(plain, warnings)
    if labelled:
        return labelled
    pieces = [p for p in _BETWEEN.split(plain) if p.strip()]
    if len(pieces) == 1:
        value = length_with(pieces[0], SPAN, warnings)
        raise Ask("One span or two?", f"both {exact(value)}", f"middle {exact(value)}, ring …")
    if len(pieces) != 2:
        raise Refuse("Write two spans, such as 4 1/2 x 4 7/16.")
    a, b = length_with(pieces[0], SPAN, warnings), length_with(pieces[1], SPAN, warnings)
    if a != b and first not in {"middle", "ring"}:
        raise Ask(
            "Which finger comes first?",
            f"middle {exact(a)}, ring {exact(b)}", f"ring {exact(a)}, middle {exact(b)}",
        )  # fmt: skip
    return (b, a) if first == "ring" else (a, b)


def _labelled(plain: str, warnings: list[str]) -> tuple[Fraction, Fraction] | None:
    between = r"\s*(?:,|x|/|;|and)?\s*"
    for a, b in ((_MIDDLE, _RING), (_RING, _MIDDLE)):
        for pattern in (
            rf"{a}\s*:?\s*(?P<a>[\d.].*?){between}\b{b}\s*:?\s*(?P<b>[\d.].*)",
            rf"(?P<a>[\d.].*?)\s*{a}{between}(?P<b>[\d.].*?)\s*{b}",
        ):
            match = re.fullmatch(pattern, plain)
            if match:
                one, two = (length_with(match[g].strip(" ,x;/"), SPAN, warnings) for g in "ab")
                return (one, two) if a == _MIDDLE else (two, one)
    if re.search(r"[a-z]", plain) and re.search(rf"\b(?:{_MIDDLE}|{_RING})\b", plain):
        raise Ask("Which number belongs to which finger?")
    return None


# Clock directions ---------------------------------------------------------------------------------------------


def read_clock(text: str) -> Reading[Fraction]:
    """Degrees clockwise from 12 o'clock (towards the fingers) seen from outside, 0 to 360."""
    return read_by(text, lambda plain, warnings: _clock(plain))


def _clock(plain: str) -> Fraction:
    time = re.fullmatch(r"(\d{1,2}):(\d{2})(?: ?o'?clock)?", plain)
    hour = re.fullmatch(r"(\d{1,2})(?:\.5|½)? ?o'?clock", plain)
    if time or hour:
        hours = int((time or hour)[1])  # type: ignore[index]
        minutes = int(time[2]) if time else (30 if ".5" in plain else 0)
        if not 1 <= hours <= 12 or minutes > 59:
            raise Refuse("A clock direction is 1:00 to 12:59.")
        return (Fraction(hours * 30) + Fraction(minutes, 2)) % 360
    if plain in {"up", "towards the fingers", "toward the fingers", "fingers"}:
        return Fraction(0)
    if plain in {"down", "away from the palm", "away from the fingers"}:
        return Fraction(180)
    turn = re.fullmatch(
        r"(?P<sign>[-+])?\s*(?P<size>\d{1,3}(?:\.\d{1,6})?)\s*(?P<unit>°|deg(?:rees?)?)?\s*"
        r"(?P<way>cw|clockwise|r|right|ccw|anticlockwise|counterclockwise|l|left)?",
        plain,
    )
    if not turn:
        raise Refuse("Write a clock time such as 10:30, or degrees such as 45 left.")
    size = Fraction(turn["size"])
    if not (turn["unit"] or turn["way"] or turn["sign"]) and 0 < size <= 12 and size.denominator == 1:
        raise Ask("O'clock or degrees?", f"{size} o'clock", f"{size}°")
    if size > 360:
        raise Refuse("A direction is 0 to 360 degrees.")
    back = turn["sign"] == "-" or (turn["way"] or "")[:1] == "l" or (turn["way"] or "")[:2] in {"cc", "an", "co"}
    return (-size if back else size) % 360


# Ovals --------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Oval:
    """A hole and its oval: the bit, the extra width (0 = round), inches, and the clock direction in degrees."""

    hole_in: Fraction
    oval_in: Fraction
    oval_deg: Fraction


def read_oval(text: str) -> Reading[Oval]:
    """Reads `31/32`, `1 x 1 1/32 @ 45`, `1 + 1/32 @ 10:30`: a second number near the first is the finished width."""
    return read_by(text, _oval)


def _oval(plain: str, warnings: list[str]) -> Oval:
    size, turn_text = _size_and_turn(plain)
    size, is_sweep = (
        re.sub(r"\s*\b(?:sweep|swept|oval|wide)\b\s*", " ", size).strip(),
        " sweep" in plain or "oval" in plain,
    )
    pieces = re.split(r"\s+x\s+|(?<=[\d\"])x(?=\d)|\s+by\s+|\s*\+\s*(?=[\d.-])", size, maxsplit=1)
    if len(pieces) == 1:
        if "oval" in plain:
            raise Ask("That gives the oval but not the hole. Write both, such as 1 + 1/16 @ 45 left.")
        if turn_text:
            raise Ask("A direction but no oval. How much wider is the hole?")
        return Oval(length_with(size, HOLE, warnings), Fraction(0), Fraction(0))
    first, second = length_with(pieces[0], HOLE, []), _second(pieces[1])
    is_plus = "+" in size
    bit, extra = (first, second) if is_sweep or is_plus or second < first / 2 else _widths(first, second)
    if extra < 0:
        raise Refuse("An oval cannot be narrower than the bit.")
    if extra > OVAL.high:
        raise Refuse(f"An oval of {inches(extra)} in more than the bit is not possible.")
    if not is_plus and bit < first:
        warnings.append(f"Read as a {exact(bit)} hole made {exact(first)} wide.")
    bit = length_with(exact(bit), HOLE, warnings)
    if extra > OVAL.usual_high:
        warnings.append(f"Unusual: the oval is {inches(extra)} in wider than the bit.")
    if extra and not turn_text:
        raise Ask("In which direction is it wider?", f"{plain} @ 12:00", f"{plain} @ 45 left", f"{plain} @ 45 right")
    return Oval(bit, extra, _clock(turn_text) if turn_text else Fraction(0))


def _second(text: str) -> Fraction:
    match = re.fullmatch(rf"({NUMBER})\s*(?:{UNIT})?", text.strip())
    if not match:
        raise Refuse("Write the hole, then how wide it is: 1 x 1 1/32 @ 45.")
    return length_of(text.strip(), Quantity("oval", Fraction(0), Fraction(3), Fraction(0), Fraction(3)))[0]


def _widths(first: Fraction, second: Fraction) -> tuple[Fraction, Fraction]:
    return min(first, second), abs(second - first)


_DEGREES = r"(?:°|deg(?:rees?)?)"
_TURN_AT_END = (
    r"\s(?:at\s+)?(\d{1,2}:\d{2}|\d{1,2} ?o'?clock"
    rf"|\d{{1,3}} ?{_DEGREES}?\s*(?:left|right|cw|ccw|l|r)|\d{{1,3}} ?{_DEGREES})$"
)


def _size_and_turn(plain: str) -> tuple[str, str]:
    if "@" in plain:
        size, _, turn = plain.partition("@")
        return size.strip(), turn.strip()
    tail = re.search(_TURN_AT_END, plain)
    return (plain[: tail.start()].strip(), tail[1]) if tail else (plain, "")


# Axis points --------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class AxisPoint:
    """The positive axis point: inches over along the midline, then up (down is negative) along its vertical line."""

    over_in: Fraction
    up_in: Fraction


_OVER = Quantity("distance over", Fraction(0), Fraction(9), Fraction(4), Fraction(13, 2))
_UP = Quantity("distance up", Fraction(0), Fraction(4), Fraction(0), Fraction(2))


def read_axis_point(text: str) -> Reading[AxisPoint]:
    """Reads `4 1/4 over 1/4 up`, `4 1/4 x 1/4 U`, `5 > 1/2 v`."""
    return read_by(text, _axis_point)


def _axis_point(plain: str, warnings: list[str]) -> AxisPoint:
    match = re.fullmatch(
        r"(?P<over>.+?)\s*(?:\bover\b|>|→|\bx\b|,)\s*,?\s*(?P<size>.+?)\s*(?P<way>up|u|\^|↑|down|d|v|↓)?",
        plain,
    )
    if not match:
        alone = re.fullmatch(rf"({NUMBER})\s*\"?\s*(?:over|>)?", plain)
        if not alone:
            raise Refuse("Write it like 4 1/4 over 1/4 up.")
        raise Ask("How far up or down? Write 0 up if it lies on the midline.", f"{alone[1]} over 0 up")
    over, size = length_with(match["over"], _OVER, warnings), length_with(match["size"], _UP, warnings)
    if size and not match["way"]:
        raise Ask("Up or down?", f"{exact(over)} over {exact(size)} up", f"{exact(over)} over {exact(size)} down")
    return AxisPoint(over, -size if (match["way"] or "u")[0] in "dv↓" else size)


# Depths and heights -------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class WrittenDepth:
    """A depth in inches and the datum the text names, empty when it names none."""

    depth_in: Fraction
    datum: str


_DATUM_WORDS = {
    r"(?:from|at|off)?\s*(?:the\s+)?collar|to (?:the )?shoulder|stop": "collar",
    r"(?:from|off)?\s*(?:the\s+)?crown": "crown",
    r"(?:from|off)?\s*(?:the\s+)?high (?:edge|rim|side)": "rim_high",
    r"(?:from|off)?\s*(?:the\s+)?low (?:edge|rim|side)": "rim_low",
}


def read_depth(text: str) -> Reading[WrittenDepth]:
    """Reads `2 1/2 deep`, `2 9/16 from crown`; what it was measured from is part of a depth, or still to be asked."""

    def of(plain: str, warnings: list[str]) -> WrittenDepth:
        for pattern, datum in _DATUM_WORDS.items():
            match = re.fullmatch(rf"(?P<size>.*?)\s*(?:deep)?\s*(?:{pattern})", plain)
            if match and match["size"]:
                return WrittenDepth(length_with(match["size"], DEPTH, warnings), datum)
        if re.search(r"\bflat\b|straight ?edge", plain):
            raise Ask("A straight edge across the mouth is no datum of its own. From the high or the low edge?")
        return WrittenDepth(length_with(re.sub(r"\s*deep$", "", plain), DEPTH, warnings), "")

    return read_by(text, of)


def read_proud(text: str) -> Reading[Fraction]:
    """Inches an inner stands above the ball: `1/32 proud`, `1/64 sunk`, `flush`; a bare size asks."""

    def of(plain: str, warnings: list[str]) -> Fraction:
        match = re.fullmatch(
            r"(?P<sign>[-+])?\s*(?P<size>.*?)\s*(?P<way>proud|high|above|up|sunk|low|below|under|recessed|in|down)?",
            plain,
        )
        assert match is not None
        way = match["way"] if match["way"] != "in" else None
        size = length_with(match["size"] + (' "' if match["way"] == "in" else ""), PROUD, warnings)
        if size and not way and not match["sign"]:
            raise Ask("Proud or sunk?", f"{exact(size)} proud", f"{exact(size)} sunk")
        if way and match["sign"]:
            raise Ask("A sign and a word. Which is meant?", f"{exact(size)} proud", f"{exact(size)} sunk")
        sunk = match["sign"] == "-" or way in {"sunk", "low", "below", "under", "recessed", "down"}
        return -size if sunk else size

    return read_by(text, of)


def read_weight(text: str) -> Reading[Fraction]:
    """Pounds: `15`, `15.5 lb`, `15 lb 3 oz`."""

    def of(plain: str, warnings: list[str]) -> Fraction:
        match = re.fullmatch(
            r"(?P<lb>\d{1,2}(?:\.\d{1,4})?)\s*(?:lbs?|pounds?|#)?(?:\s*(?P<oz>\d{1,2}(?:\.\d{1,3})?)\s*(?:oz|ounces?))?",
            plain,
        )
        if not match:
            raise Refuse("Write a weight like 15 or 15 lb 3 oz.")
        pounds = Fraction(match["lb"]) + Fraction(match["oz"] or 0) / 16
        if not 6 <= pounds <= 16:
            raise Refuse("A ball weighs 6 to 16 lb.")
        return pounds

    return read_by(text, of)
