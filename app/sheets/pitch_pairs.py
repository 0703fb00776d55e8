"""Reads a pitch that stands in one cell, both ways, and puts one together that stands in several."""

import re
from collections.abc import Iterator, Sequence

from app.measures.pitches import Pitch, read_pitch
from app.sheets.cells import Cell
from app.sheets.conventions import QUESTIONS, Conventions
from app.sheets.directions import USUAL_PITCH_IN, read_lateral, read_vertical, write_pitch
from app.sheets.parts import Part, ask, clean_text, describe, find_damage, put_unit

_SURE_BETWEEN = re.compile(r"\s*[x;|,&]\s*|\s+/\s+|\s+(?:and|by)\s+|\s+-\s+")
_SLASH = re.compile(r"(?<=[a-z])\s*/\s*")
_GAP = re.compile(r"(?<=[a-z])\s+(?=[-+\d.])|(?<=\d)\s+(?=[-+]?\d+/\d|[-+]\.?\d)")  # 1/4 r 1/8 l
_GAP_BEFORE = re.compile(r"(?<=\d)\s+(?=[a-z←→])")  # r 1/4 l 1/8
_SIDE = re.compile(r"(?<![a-z])(?:l|lt|left|r|rt|right|←|→)(?![a-z])")


def read_both_ways(cell: Cell, conventions: Conventions, of: tuple[str, str]) -> Part:
    """Reads `3/8R 1/8L`, `-1/4 x 1/8`, `0/0` in one cell; `of` is (hand, hole)."""
    damage = find_damage(cell)
    if damage:
        return damage
    plain = clean_text(cell.text)
    if re.fullmatch(r"0\s*[/x-]\s*0|0+|straight|zero|0 0", plain):
        return Part(cell.text, "value", "0", "straight")
    halves = list(_list_halves(plain))
    if len(halves) == 2:
        found = _read_halves(cell, halves, conventions, of)
        if found:
            return found
    return _read_whole(cell, plain, conventions, of)


def _list_halves(plain: str) -> Iterator[str]:
    """Yields the two pieces of a pitch at the surest mark between them; one piece where there is none."""
    text = re.sub(r"(?<=\d),(?=\d)", "\0", plain)  # a decimal comma parts nothing
    gap = _GAP_BEFORE if re.match(r"[a-z←→]", text) else _GAP
    for mark in (_SURE_BETWEEN, _SLASH, gap):
        pieces = [p.replace("\0", ",").strip() for p in mark.split(text)]
        if len(pieces) == 2 and all(any(c.isdigit() for c in piece) for piece in pieces):
            yield from pieces
            return
    yield plain


def _read_halves(cell: Cell, halves: Sequence[str], conventions: Conventions, of: tuple[str, str]) -> Part | None:
    """Returns the pitch of two pieces, each read as a cell of its own column would be; None if they are no two."""
    first, second = halves
    is_swapped = _is_sideways(first) and not _is_sideways(second)
    if not any(re.search(r"[a-z←→]", half) for half in halves) and not conventions.pitch_order:
        return ask(cell, QUESTIONS["pitch_order"])
    if not any(re.search(r"[a-z←→]", half) for half in halves):
        is_swapped = conventions.pitch_order == "lateral"
    ahead, across = (second, first) if is_swapped else (first, second)
    vertical = read_vertical(Cell(ahead, "text"), conventions)
    lateral = read_lateral(Cell(across, "text"), conventions, of)
    joined = join_pitch(cell, [vertical], [lateral], conventions, of)
    if joined.state != "ask" or "ask" not in {vertical.state, lateral.state}:
        return joined
    asked = vertical if vertical.state == "ask" else lateral
    other = lateral if asked is vertical else vertical
    if other.state == "ask" or not asked.choices:
        return ask(cell, asked.message)
    pairs = [(c, other.as_read) if asked is vertical else (other.as_read, c) for c in asked.choices]
    return ask(cell, asked.message, *(f"{a}, {b}" for a, b in pairs))


def _is_sideways(half: str) -> bool:
    return bool(re.search(r"(?<![a-z])(?:l|lt|left|rt|right|under|away|u|palm|out|lat|lateral|←|→)(?![a-z])", half))


def _read_whole(cell: Cell, plain: str, conventions: Conventions, of: tuple[str, str]) -> Part:
    """Reads a pitch that cannot be parted, as the app's own field does."""
    hand, hole = of
    text = put_unit(plain, conventions, conventions.pitch_units)
    reading = read_pitch(text, hand, hole)
    pitch = reading.value
    if pitch is None:
        if reading.state == "unknown":
            return Part(cell.text, "unknown", "unknown", "unknown")
        return Part(cell.text, "absent") if reading.state == "absent" else ask(cell, reading.message, *reading.choices)
    if (
        reading.warnings
        and any(w.startswith("Only") for w in reading.warnings)
        and conventions.empty_pitch != "straight"
    ):
        return ask(cell, QUESTIONS["empty_pitch"], write_pitch(pitch), "unknown")
    if max(abs(pitch.forward_in), abs(pitch.right_in)) > USUAL_PITCH_IN:
        return ask(cell, "Unusual for a pitch: is it in the right column?", write_pitch(pitch))
    if pitch.right_in and _SIDE.search(plain):
        if not conventions.seen_from:
            return ask(cell, QUESTIONS["seen_from"], write_pitch(pitch), write_pitch(_mirror(pitch)))
        pitch = _mirror(pitch) if conventions.seen_from == "inside" else pitch
    return tell_pitch(cell, write_pitch(pitch), of)


def _mirror(pitch: Pitch) -> Pitch:
    return Pitch(pitch.forward_in, -pitch.right_in)


def tell_pitch(cell: Cell, text: str, of: tuple[str, str]) -> Part:
    """Returns the part of a pitch in the app's own writing, as its field reads it."""
    told = describe("pitch", text, *of)
    if told.reading.state != "value":
        return ask(cell, told.reading.message, *told.reading.choices)
    return Part(cell.text, "value", text, told.words)


def join_pitch(
    cell: Cell, verticals: Sequence[Part], laterals: Sequence[Part], conventions: Conventions, of: tuple[str, str]
) -> Part:
    """Puts a pitch together; an empty part beside a written one is what the file's convention says, or asked."""
    vertical, lateral = _choose(verticals), _choose(laterals)
    if vertical is None or lateral is None:
        return ask(cell, "Two columns give one pitch two sizes. Which is meant?", "unknown")
    states = vertical.state, lateral.state
    if "ask" in states:
        asked = vertical if vertical.state == "ask" else lateral
        return ask(cell, asked.message, *asked.choices)
    if states in {("absent", "absent"), ("unknown", "unknown"), ("unknown", "absent"), ("absent", "unknown")}:
        is_unknown = "unknown" in states
        return Part(cell.text, "unknown", "unknown", "unknown") if is_unknown else Part(cell.text, "absent")
    ahead, across = (p.as_read if p.state == "value" else "0" for p in (vertical, lateral))
    if "unknown" in states:
        return ask(cell, "One way of this pitch is known and the other is not.", "unknown", f"{ahead}, {across}")
    text = "0" if ahead == across == "0" else f"{ahead}, {across}"
    if "absent" in states and conventions.empty_pitch != "straight":
        return ask(cell, QUESTIONS["empty_pitch"], text, "unknown")
    return tell_pitch(cell, text, of)


def _choose(parts: Sequence[Part]) -> Part | None:
    """Returns the one part that says something, of a column each for forward and for reverse; None if two do."""
    filled = [p for p in parts if p.state != "absent"]
    sized = [p for p in filled if p.as_read != "0"]
    if len(sized) > 1:
        return None
    return (sized or filled or [Part("", "absent")])[0]
