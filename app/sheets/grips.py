"""Reads what holds for a grip as a whole: style, holes, edges, spans, and holes with their ovals."""

import re
from fractions import Fraction

from app.measures.ovals import Oval, read_oval
from app.measures.pairs import SpanPair, read_span_pair
from app.measures.spelling import COMMA_TOLD
from app.measures.wording import exact
from app.sheets.cells import Cell
from app.sheets.conventions import CHOICES, QUESTIONS, Conventions
from app.sheets.damages import list_numbers_within
from app.sheets.parts import (
    Part,
    ask,
    clean_text,
    describe,
    find_damage,
    make_empty,
    read_described,
    read_length_part,
    tidy,
)

_STYLES = ((r"semi", "semi-fingertip"), (r"conv", "conventional"), (r"finger ?tips?|\bft\b|f/t|\bfgt\b", "fingertip"))
_EDGES = (
    (r"sleeve", "sleeve"), (r"finish|fitted|with insert|inserts? in", "finished"), (r"\bcut\b|bare", "cut"),
)  # fmt: skip
_HOLES = (
    (r"no thumb|thumb ?less|two fingers?$", "thumbless"), (r"no ring|thumb (?:and|&|\+) middle", "thumb_middle"),
    (r"no middle|thumb (?:and|&|\+) ring", "thumb_ring"), (r"three|^3|standard|full", "three"),
)  # fmt: skip
STYLES, HOLES = ("fingertip", "semi-fingertip", "conventional"), ("three", "thumbless", "thumb_middle", "thumb_ring")


def _read_closed(cell: Cell, patterns: tuple[tuple[str, str], ...], message: str, choices: tuple[str, ...]) -> Part:
    plain = tidy(cell.text).lower()
    if not plain:
        return Part(cell.text, "absent")
    found = [value for pattern, value in patterns if re.search(pattern, plain)]
    if "semi-fingertip" in found:
        found = ["semi-fingertip"]
    return Part(cell.text, "value", found[0], found[0]) if len(set(found)) == 1 else ask(cell, message, *choices)


def read_style(cell: Cell, conventions: Conventions) -> Part:
    return _read_closed(cell, _STYLES, "Which style of grip?", STYLES)


def read_holes(cell: Cell, conventions: Conventions) -> Part:
    return _read_closed(cell, _HOLES, "Which holes has this grip?", HOLES)


def read_edges(cell: Cell, conventions: Conventions) -> Part:
    return _read_closed(
        cell, (*_EDGES, (r"unknown|\?", "unknown")), QUESTIONS["span_edges"], tuple(CHOICES["span_edges"])
    )


# Spans --------------------------------------------------------------------------------------------------------


def read_pair(cell: Cell, conventions: Conventions) -> Part:
    """Reads two spans in one cell, as `middle 4 1/2, ring 4 7/16`."""
    damage = find_damage(cell)
    if damage:
        return damage
    plain = clean_text(cell.text)
    text = re.sub(r"(?<=\d),(?=\d)", ".", plain) if conventions.comma == "decimal" else plain
    text = _put_unit_behind(text, conventions)
    is_bare = not _HAS_UNIT.search(text) and "/" not in text and bool(re.search(r"\d", text))
    if is_bare and not conventions.units:
        return ask(cell, QUESTIONS["units"], *_list_pairs(text, conventions), *_list_pairs(f"{text} mm", conventions))
    if conventions.units == "mm" and "/" in text and not _HAS_UNIT.search(text):
        return ask(cell, "Fractions among millimetres: are they inches?", *_list_pairs(text, conventions))
    return _tell_pair(cell, text, conventions)


_SHARED = re.compile(r"(?P<whole>\d)[ -](?P<one>\d+/\d+)\s*[-–/x,&+]\s*(?P<other>\d+/\d+)")
_HAS_UNIT = re.compile(r"mm|cm|\"|\bin\b")


def _tell_pair(cell: Cell, text: str, conventions: Conventions) -> Part:
    reading = read_span_pair(text, conventions.first_finger)
    if reading.state in {"absent", "unknown"}:
        return make_empty(cell, reading.state == "unknown")
    pair = reading.value
    if pair is None and (shared := write_shared(text)):
        return ask(cell, reading.message, *_list_both_ways(shared, conventions), *reading.choices)
    if pair is None:
        guessed = () if reading.choices else _list_pairs_within(text, conventions)
        return ask(cell, reading.message, *reading.choices, *guessed)
    written = write_pair(pair, text)
    doubts = [w for w in reading.warnings if not w.startswith("Not on a 64th")]
    if doubts and (doubts != [COMMA_TOLD] or not conventions.comma):
        return ask(cell, doubts[0], written)
    return Part(cell.text, "value", written, describe("span_pair", written).words, told=reading.warnings)


def _put_unit_behind(text: str, conventions: Conventions) -> str:
    has_unit = re.search(r"mm|cm|\"|\bin\b|/", text)
    return f"{text} mm" if conventions.units == "mm" and not has_unit else text


def _list_pairs(text: str, conventions: Conventions) -> tuple[str, ...]:
    reading = read_span_pair(text, conventions.first_finger)
    if reading.value:
        return (write_pair(reading.value, text),)
    return tuple(c for c in reading.choices if read_span_pair(c).value)


def _list_pairs_within(text: str, conventions: Conventions) -> tuple[str, ...]:
    """Returns the pairs of two numbers that stand among words, both ways round where the first finger is not known."""
    numbers = list(list_numbers_within(text))
    return _list_pairs(f"{numbers[0]} x {numbers[1]}", conventions) if len(numbers) == 2 else ()


def _list_both_ways(sizes: tuple[str, str], conventions: Conventions) -> tuple[str, ...]:
    """Returns two spans as the file's first finger has them; either way round where it is not known."""
    pairs = {"middle": (sizes,), "ring": (sizes[::-1],)}.get(conventions.first_finger, (sizes, sizes[::-1]))
    return tuple(f"middle {middle}, ring {ring}" for middle, ring in pairs)


def write_shared(text: str) -> tuple[str, str] | None:
    """Returns the two spans of `4 3/8-1/2`, whose whole number stands once; None for another text."""
    found = _SHARED.fullmatch(text)
    return (f"{found['whole']} {found['one']}", f"{found['whole']} {found['other']}") if found else None


def write_pair(pair: SpanPair, text: str) -> str:
    """Writes spans as their field reads them; millimetres stay millimetres."""
    is_metric = bool(re.search(r"\bmm\b|\dmm|cm", text)) and "/" not in text
    sizes = [(name, size) for name, size in (("middle", pair.middle_in), ("ring", pair.ring_in)) if size is not None]
    edges = {"sleeve": " sleeve to cut", "": ""}.get(pair.edges, f" {pair.edges}")
    if pair.unknown:
        return f"{sizes[0][0]} {_write_size(sizes[0][1], is_metric)}, {pair.unknown} unknown{edges}"
    if len(sizes) == 1:
        return f"{_write_size(sizes[0][1], is_metric)}{edges}"
    return ", ".join(f"{name} {_write_size(size, is_metric)}" for name, size in sizes) + edges


def _write_size(size: Fraction, is_metric: bool) -> str:
    return f"{exact(size * Fraction(254, 10))} mm" if is_metric else exact(size)


def read_span(cell: Cell, conventions: Conventions) -> Part:
    """Reads the span to one finger; a cell that holds two spans is asked about with each of them."""
    damage = find_damage(cell)
    if damage:
        return damage
    part = read_length_part(cell, "span", conventions)
    pair = read_span_pair(clean_text(cell.text), "middle").value if part.state == "ask" else None
    if pair and pair.middle_in and pair.ring_in:
        sizes = exact(pair.middle_in), exact(pair.ring_in)
        return ask(cell, "Two spans in the column of one. Which is this finger's?", *sizes)
    if part.state == "ask" and (shared := write_shared(clean_text(cell.text))):
        return ask(cell, part.message, *shared, *part.choices)
    return part


# Holes --------------------------------------------------------------------------------------------------------


def read_hole(cell: Cell, conventions: Conventions) -> Part:
    """Reads a hole's size, with its oval where the cell has it."""
    damage = find_damage(cell)
    if damage:
        return damage
    plain = clean_text(cell.text)
    if not re.search(r"\bx\b|@|\bby\b|\+\s*\d|oval|sweep|°|deg|\bat\b", plain):
        return read_length_part(cell, "hole", conventions)
    text = re.sub(r"(?<=\d),(?=\d)", ".", plain) if conventions.comma == "decimal" else plain
    return tell_oval(cell, text, conventions)


def tell_oval(cell: Cell, text: str, conventions: Conventions) -> Part:
    """Reads a hole with an oval in the app's own writing, its direction turned into that seen from outside."""
    reading = read_oval(text)
    oval = reading.value
    if oval is None:
        return ask(cell, reading.message or "That is no oval that can be read.", *reading.choices)
    doubts = [w for w in reading.warnings if w.startswith(("Unusual", "Read as")) or w == COMMA_TOLD]
    if doubts:
        return ask(cell, doubts[0], write_oval(oval))
    if oval.oval_in and oval.oval_deg % 180:
        turned = Oval(oval.hole_in, oval.oval_in, -oval.oval_deg % 360)
        if not conventions.seen_from:
            return ask(cell, QUESTIONS["seen_from"], write_oval(oval), write_oval(turned))
        oval = turned if conventions.seen_from == "inside" else oval
    written = write_oval(oval)
    return Part(cell.text, "value", written, describe("oval", written).words, told=reading.warnings)


def write_oval(oval: Oval) -> str:
    if not oval.oval_in:
        return exact(oval.hole_in)
    return f"{exact(oval.hole_in)} + {exact(oval.oval_in)} @ {exact(oval.oval_deg)}°"


def join_oval(cell: Cell, hole: Part, oval: Part, conventions: Conventions) -> Part:
    """Puts a hole and the oval of another column together; `oval` is a text part as typed."""
    text = clean_text(oval.as_typed)
    if oval.state != "value" or text in {"0", "round", "none", "no", "-", "n/a"}:
        return hole if oval.state != "ask" else oval
    if hole.state != "value":
        return hole if hole.state == "ask" else ask(cell, "An oval without its hole. How large is the hole?", "unknown")
    return tell_oval(cell, f"{hole.as_read} + {text}", conventions)


def read_oval_text(cell: Cell, conventions: Conventions) -> Part:
    return find_damage(cell) or Part(cell.text, "value", tidy(cell.text), tidy(cell.text))


def read_bridge(cell: Cell, conventions: Conventions) -> Part:
    return find_damage(cell) or read_length_part(cell, "bridge", conventions)


def read_depth(cell: Cell, conventions: Conventions) -> Part:
    return find_damage(cell) or read_length_part(cell, "depth", conventions)


def read_bore_depth(cell: Cell, conventions: Conventions) -> Part:
    """Reads how deep a bore is; a datum that the cell names stays in the text."""
    damage = find_damage(cell)
    if damage:
        return damage
    plain = clean_text(cell.text)
    if re.search(r"[a-z]{3,}", re.sub(r"\binch(?:es)?\b|deep", "", plain)):
        return read_described(cell, "written_depth", plain)
    return read_length_part(Cell(re.sub(r"\s*deep$", "", plain), cell.kind), "depth", conventions)
