"""Reads texts that hold two measures: span pairs and axis points; and the one span of a grip with one finger."""

import re
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from fractions import Fraction
from functools import partial

from app.measures.half_pairs import parse_half
from app.measures.lengths import NUMBER, UNIT, parse_length, parse_number, read_by
from app.measures.reading import REACH, SPAN, Ask, Quantity, Reading, Refuse, ask_within, pick_meaning
from app.measures.spelling import list_comma_readings, warn_of_commas
from app.measures.wording import exact, inches

# Span pairs ---------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class SpanPair:
    """Spans to the middle and the ring finger, inches; `edges` is empty unless the text names them.

    A finger that the grip has not has None. Without a thumb hole they are reaches.
    """

    middle_in: Fraction | None
    ring_in: Fraction | None
    edges: str = ""

    @property
    def unknown(self) -> str:
        """The finger whose span is said to be unknown, "" for none."""
        return ""


class HalfKnownPair(SpanPair):
    """Two spans of which one is said to be unknown, None."""

    @property
    def unknown(self) -> str:
        return "ring" if self.ring_in is None else "middle"


_EDGE_WORDS = {
    r"sleeve[- ]to[- ]cut|to sleeve|sleeve": "sleeve",
    r"with inserts?|finished|fitted": "finished",
    r"bare|cut": "cut",
}
_FULL = re.compile(r"\s*(?:(?<![a-z])full|(?<=\d) ?f)(?![a-z])(?: ?spans?\b)?")  # 4 1/2 full, 4 1/2F, 4 1/2 full span
_EDGES_WRITTEN = {"": "", "sleeve": "sleeve to cut", "finished": "finished", "cut": "cut"}
_MIDDLE, _RING = r"(?:middle(?: finger)?|mid|mf|m)", r"(?:ring(?: finger)?|rf|r)"
_LABEL = re.compile(rf"\(?(?<![a-z])(?:(?P<middle>{_MIDDLE})|(?P<ring>{_RING}))(?![a-z])\)?(?P<mark>\s*[:=])?")
_SURE_BETWEEN = re.compile(r"\s*[x;]\s*|\s+(?:by|and)\s+|\s*&\s*")
_COMMA = re.compile(r"\s*,\s*")
_MAYBE_BETWEEN = re.compile(r"\s*/\s*|\s*-\s*|\s")
_LOST_STROKE = "Two whole numbers: two spans, or one with a stroke or a point lost?"


def read_span_pair(text: str, first: str = "", holes: str = "three") -> Reading[SpanPair]:
    """Reads `4 1/2 x 4 7/16`. `first` is the finger that the field puts first; without it a bare pair asks.

    `holes` are those of the grip: of `thumb_middle` or `thumb_ring` one span is read, of `thumbless` two reaches.
    """

    def parse(plain: str, warnings: list[str]) -> SpanPair:
        rest, edges = _split_off_edges(plain)
        if _FULL.search(rest):
            bare = _FULL.sub("", rest).strip(" ,:")
            heavy = bare if _FULL.match(rest) else _FULL.sub(" heavy", rest)  # in front it belongs to neither span
            raise Ask("Full: a heavy 64th, or finished edges?", heavy, f"{bare} finished")
        if holes in {"thumb_middle", "thumb_ring"}:
            is_middle = holes == "thumb_middle"
            span = _parse_lone(rest, first, _MIDDLE if is_middle else _RING, warnings)
            return SpanPair(span, None, edges) if is_middle else SpanPair(None, span, edges)
        quantity = REACH if holes == "thumbless" else SPAN
        if half := parse_half(rest, (_MIDDLE, _RING), quantity, warnings):
            return HalfKnownPair(half.get("middle"), half.get("ring"), edges)
        middle, ring = ask_within(
            lambda: pick_meaning(
                list_comma_readings(rest),
                lambda way, told: _parse_pair(way, first, warn_of_commas(rest, way, told), quantity),
                _write_pair,
                warnings,
            ),
            lambda choice: f"{choice} {_EDGES_WRITTEN[edges]}".strip(),
        )
        if abs(middle - ring) > Fraction(3, 8):
            what = "reaches" if quantity is REACH else "spans"
            warnings.append(f"Unusual: the two {what} differ by {inches(abs(middle - ring))} in.")
        return SpanPair(middle, ring, edges)

    return read_by(text, parse)


def _parse_lone(rest: str, first: str, finger: str, warnings: list[str]) -> Fraction:
    """The one span of a grip with one finger, of a pattern; raises Ask where two are written."""
    named = re.fullmatch(rf"(?:to )?(?:the )?{finger}\s*[:=]?\s*(.+)", rest)
    try:
        return parse_length(named[1] if named else rest, SPAN, warnings)
    except (Ask, Refuse) as refusal:
        try:
            pair = _parse_pair(rest, first or "middle", [], SPAN)
        except (Ask, Refuse):
            raise refusal from None
        raise Ask("This grip has one finger: which of the two is its span?", *map(exact, dict.fromkeys(pair))) from None


def _write_pair(spans: tuple[Fraction, Fraction]) -> str:
    return f"middle {exact(spans[0])}, ring {exact(spans[1])}"


def _split_off_edges(plain: str) -> tuple[str, str]:
    if re.search(r"\bcent(?:re|er)s?\b|\bstraight\b", plain):
        raise Ask("Spans here run along the surface from edge to edge. Which edges were measured?")
    for pattern, edges in _EDGE_WORDS.items():
        if re.search(rf"\b(?:{pattern})\b", plain):
            return re.sub(rf"\s*\(?\b(?:{pattern})\b(?: edges?)?\)?", "", plain).strip(" ,"), edges
    return re.sub(r"\s*\b(?:along )?(?:the )?surface\b", "", plain), ""


def _parse_pair(plain: str, first: str, warnings: list[str], quantity: Quantity) -> tuple[Fraction, Fraction]:
    both = re.fullmatch(r"(?:both\s+(.+)|(.+?)\s+(?:both|even))", plain)
    if both:
        value = parse_length(both[1] or both[2], quantity, warnings)
        return value, value
    offset = re.fullmatch(
        rf"(?P<base>{NUMBER})\s*(?P<sign>[-+])\s*(?P<more>{NUMBER})\s*(?P<finger>{_MIDDLE}|{_RING})", plain
    )
    if offset and "/" in offset["more"] + offset["base"]:
        base, more = parse_length(offset["base"], quantity, warnings), parse_number(offset["more"])[0]
        other = base + (more if offset["sign"] == "+" else -more)
        return (base, other) if re.fullmatch(_RING, offset["finger"]) else (other, base)
    labels = list(_LABEL.finditer(plain))
    if labels:
        return _parse_labelled(plain, labels, warnings, quantity)
    a, b = pick_meaning(
        _list_splits(plain),
        partial(_parse_two, quantity),
        lambda spans: f"{exact(spans[0])} x {exact(spans[1])}",
        warnings,
    )
    if a != b and first not in {"middle", "ring"}:
        raise Ask("Which finger comes first?", _write_pair((a, b)), _write_pair((b, a)))
    return (b, a) if first == "ring" else (a, b)


def _parse_labelled(
    plain: str, labels: list[re.Match[str]], warnings: list[str], quantity: Quantity
) -> tuple[Fraction, Fraction]:
    unclear = Ask("Which number belongs to which finger?", "middle …, ring …")
    if len(labels) != 2 or bool(labels[0]["middle"]) == bool(labels[1]["middle"]):
        raise unclear
    before, between, after = (
        plain[a:b].strip(" ,x;/&").removesuffix(" and")
        for a, b in (
            (0, labels[0].start()),
            (labels[0].end(), labels[1].start()),
            (labels[1].end(), len(plain)),
        )
    )
    if not between or bool(before) == bool(after) or (before and (labels[0]["mark"] or labels[1]["mark"])):
        raise unclear
    one, two = (label[0].strip("() :=") for label in labels)
    if between.endswith("-") and after:
        bare = between.rstrip("- ")
        raise Ask(
            "A hyphen between the two, or a 64th less?",
            f"{one} {bare}, {two} {after}", f"{one} {bare} shy, {two} {after}",
        )  # fmt: skip
    pieces = (before, between, "x") if before else (between, after, "x")
    a, b = _parse_two(quantity, pieces, warnings, f"{one} %s, {two} %s")
    return (a, b) if labels[0]["middle"] else (b, a)


def _list_splits(plain: str) -> Iterator[tuple[str, ...]]:
    """Yields every way to split a text in two; a hyphen, stroke or space counts only between two usual spans."""
    for pattern, mark in ((_SURE_BETWEEN, "x"), (_COMMA, ",")):
        parted = pattern.split(plain)
        if len(parted) > 1:
            yield (*parted, mark)
            return
    yield (plain,)
    for between in _MAYBE_BETWEEN.finditer(plain):
        before, after = plain[: between.start()], plain[between.end() :]
        if any(re.search(r"/ ?\d+ ?[-+] ?\d", half) for half in (before, after)):
            continue  # one side is a sum: the text is split at the hyphen within it instead
        is_doubled = between[0].strip() and re.search(r"[-+/]$", before)
        if not is_doubled and not re.search(r"\s[-+/]?$|/$", before) and not re.match(r"[-+/]", after):
            yield before, after, between[0].strip() or " "
        if between[0] == "- ":
            yield f"{before}-", after, " "


def _parse_two(
    quantity: Quantity, pieces: tuple[str, ...], warnings: list[str], labels: str = "%s x %s"
) -> tuple[Fraction, Fraction]:
    """Parses the pieces of a split text: two spans and the mark between them, which may have another meaning."""
    if len(pieces) == 1:
        value = parse_length(pieces[0], quantity, warnings)
        raise Ask("One span or two?", f"both {exact(value)}", f"middle {exact(value)}, ring …")
    if len(pieces) != 3 or "" in pieces:
        raise Refuse("Write two spans, such as 4 1/2 x 4 7/16.")
    mark = pieces[2]
    first, second = _share_unit(pieces[0], pieces[1])
    try:
        a = ask_within(lambda: parse_length(first, quantity, warnings), lambda choice: labels % (choice, second))
    except Ask:
        with suppress(Ask):  # an unreadable second span is refused before the first is asked about
            parse_length(second, quantity, [])
        raise
    b = ask_within(lambda: parse_length(second, quantity, warnings), lambda choice: labels % (first, choice))
    is_bare = first.isdecimal(), second.isdecimal()
    if mark != "x" and (
        all(is_bare) or (mark == "," and any(is_bare) and not re.search(r"\d[ -]\d+/", first + second))
    ):
        raise Ask(_LOST_STROKE, f"{first} x {second}")
    if mark in {"/", "-", " "} and not all(quantity.usual_low <= x <= quantity.usual_high for x in (a, b)):
        raise Refuse("Write two spans, such as 4 1/2 x 4 7/16.")
    return a, b


def _share_unit(first: str, second: str) -> tuple[str, str]:
    """Applies a unit written once, as in 114 x 111 mm, to both, unless the bare number is a span in inches."""
    units = [re.search(rf"(?<![a-z])({UNIT})$", text) for text in (first, second)]
    bare = [re.fullmatch(r"\d{1,4}(?:\.\d{1,6})?", text) for text in (first, second)]
    if bare[0] and units[1] and Fraction(first) > SPAN.high:
        return f"{first} {units[1][1]}", second
    if bare[1] and units[0] and Fraction(second) > SPAN.high:
        return first, f"{second} {units[0][1]}"
    return first, second


# Axis points --------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class AxisPoint:
    """The positive axis point: inches over along the midline, then up (down is negative) along its vertical line."""

    over_in: Fraction
    up_in: Fraction


_OVER = Quantity("distance over", Fraction(0), Fraction(9), Fraction(4), Fraction(13, 2))
_UP = Quantity("distance up", Fraction(0), Fraction(4), Fraction(0), Fraction(2))
_UPWARDS, _DOWNWARDS = r"up|u|\^|↑", r"down|d|v|↓"
_AXIS_POINT = re.compile(
    r"over\s+(?P<over_after>.+?)\s*(?:,|and\b|&)?\s*(?P<way_before>up|down)\s+(?P<size_after>.+)"
    rf"|(?P<over>.+?)\s*(?:\b(?:over|across)\b|>|→|x|,)\s*(?:,|and\b|&)?\s*(?:(?P<lead>up|down)\s+)?(?P<size>.+?)"
    rf"\s*(?P<way>{_UPWARDS}|{_DOWNWARDS})?"
)


def read_axis_point(text: str) -> Reading[AxisPoint]:
    """Reads `4 1/4 over 1/4 up`, `4 1/4 x 1/4 U`, `5 > 1/2 v`."""

    def parse(plain: str, warnings: list[str]) -> AxisPoint:
        return pick_meaning(
            list_comma_readings(plain),
            lambda way, told: _parse_axis_point(way, warn_of_commas(plain, way, told)), _write_point, warnings,
        )  # fmt: skip

    return read_by(text, parse)


def _write_point(point: AxisPoint) -> str:
    return f"{exact(point.over_in)} over {exact(abs(point.up_in))} {'down' if point.up_in < 0 else 'up'}"


def _parse_axis_point(plain: str, warnings: list[str]) -> AxisPoint:
    match = _AXIS_POINT.fullmatch(plain)
    if not match:
        return _ask_about_half_a_point(plain)
    over, size = match["over"] or match["over_after"], match["size"] or match["size_after"]
    ways = {bool(re.fullmatch(_DOWNWARDS, w)) for w in match.group("way", "lead", "way_before") if w}
    over_in, is_signed = parse_length(over, _OVER, warnings), size[0] in "+-"
    up_in = parse_length(size.lstrip("+- "), _UP, warnings)
    if len(ways) > 1 or is_signed or (up_in and not ways):
        raise Ask("Up or down?", *(f"{exact(over_in)} over {exact(up_in)} {way}" for way in ("up", "down")))
    return AxisPoint(over_in, -up_in if ways == {True} else up_in)


def _ask_about_half_a_point(plain: str) -> AxisPoint:
    alone = re.fullmatch(rf"({NUMBER})\s*\"?\s*(?:over|>|up|u|down|d)?", plain)
    gap = re.fullmatch(rf"({NUMBER})\s*\"? ({NUMBER})\s*\"?\s*(?:(up)|u|(down)|d)?", plain)
    if not alone and not gap:
        raise Refuse("Write it like 4 1/4 over 1/4 up.")
    choices = [f"{gap[1]} over {gap[2]} {way}" for way in ("up", "down") if way in gap.groups()] if gap else []
    raise Ask(
        "How far over, and how far up or down? Write 0 up if it lies on the midline.",
        *choices, *([f"{alone[1]} over 0 up"] if alone else []),
    )  # fmt: skip
