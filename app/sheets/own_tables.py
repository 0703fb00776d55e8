"""Knows the table of all bowlers that Spanbook itself writes, and puts its exact columns into cells that say it all.

Its signs, edges and units are known: forward and right are positive, as seen from outside, in inches.
"""

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from app.closed_sets import DIGITS, DIGITS_OF
from app.measures.ovals import Oval
from app.measures.pitches import Pitch
from app.measures.wording import exact
from app.sheets.cells import EMPTY, Cell, Row, Sheet, get_cell
from app.sheets.directions import write_pitch
from app.sheets.grips import write_oval
from app.sheets.parts import Part, ask, describe, tidy

OF_HOLE = ("hole in", "oval in", "oval deg", "forward in", "right in", "cut in", "depth in", "offset in")
FINGERS = ("middle", "ring")
_OF_FINGER = ("insert", "lift in", "lift deg")  # tables of earlier versions have none of these
_PLAIN = {
    "name": "name", "phone": "phone", "league": "league", "in force on": "fit_date", "style": "style",
    "span edges": "span_edges", "bridge edges": "bridge_edges", "thumb hardware": "system",
    **{f"{digit} insert": f"{digit}_insert" for digit in FINGERS},
}  # fmt: skip
_EXACT = {
    "bridge in": "bridge",
    **{f"{digit} {part} in": f"{digit}_{part}" for digit in FINGERS for part in ("cut", "depth")},
}  # fmt: skip
_JOINED = {"thumb offset in": "thumb_offset", "hand": "hand", "grip": "grip_holes", "spans": "spans"} | {
    f"{digit} {part}": f"{digit}_{part}" for digit in DIGITS for part in ("hole", "pitch")
}
_JOINED |= {f"{digit} lift": f"{digit}_lift" for digit in FINGERS}
FIELDS_OF_OWN = _PLAIN | _EXACT | _JOINED  # by the headings of the table as it is put together
_WRITTEN = {"bowler", "fit hand", "middle span in", "ring span in", *(f"{d} {p}" for d in DIGITS for p in OF_HOLE)}
_LATER = {f"{digit} {part}" for digit in FINGERS for part in (*_OF_FINGER, "lift")}
_NEEDED = (_WRITTEN | set(_PLAIN) | set(_EXACT)) - {"middle offset in", "ring offset in"} - _LATER
_SOURCES = {head: (head,) for head in (*_EXACT, "thumb offset in")} | {
    "spans": ("middle span in", "ring span in"),
    **{f"{d} hole": (f"{d} hole in", f"{d} oval in", f"{d} oval deg") for d in DIGITS},
    **{f"{d} pitch": (f"{d} forward in", f"{d} right in") for d in DIGITS},
    **{f"{d} lift": (f"{d} lift in", f"{d} lift deg") for d in FINGERS},
}
_NUMBER = re.compile(r"-?\d+(?:\.\d+|/[1-9]\d*)?")
_OF_WORKBOOK = re.compile(r"-?\d+(?:\.\d+)?[eE][-+]?\d{1,2}")
_COMMA = re.compile(r"-?\d+,\d+")
SAID_OF_OWN = {
    "seen_from": "outside", "units": "in", "pitch_units": "in", "first_finger": "middle", "plain_vertical": "forward",
    "plain_lateral": "right", "name_order": "as_written",
}  # fmt: skip
_KINDS = {
    "pair": "span_pair", "bridge": "bridge", "hole": "oval", "pitch": "pitch", "depth": "depth", "offset": "offset",
    "towards": "towards",
}  # fmt: skip
TOLD = "Spanbook wrote this table: its exact columns are read, and what was typed is left out."
CHANGED = "This is not as Spanbook wrote it: a spreadsheet changed it. What is the measure?"


@dataclass(frozen=True)
class _Held:
    """The cells of a row by their headings; in columns of `commas` a comma is a decimal point."""

    cells: Mapping[str, Cell]
    commas: frozenset[str]

    def get_text(self, head: str) -> str:
        text = tidy(self.cells[head].text) if head in self.cells else ""
        return text.replace(",", ".") if head in self.commas else text

    def is_filled(self, head: str) -> bool:
        return bool(self.get_text(head)) or (head in self.cells and not self.cells[head].is_empty)

    def is_damaged(self, head: str) -> bool:
        """Whether a cell is filled with anything but a number as it is written."""
        return self.is_filled(head) and not _is_written(self.cells[head], self.get_text(head))

    def size(self, head: str) -> Fraction | None:
        return Fraction(self.get_text(head)) if self.is_filled(head) and not self.is_damaged(head) else None


def put_together(sheet: Sheet) -> Sheet:
    """Returns the table of bowlers with one cell for each measure; any other sheet as it is."""
    heads = [tidy(cell.text) for cell in sheet.rows[0]] if sheet.rows else []
    if not set(heads) >= _NEEDED:
        return sheet
    rows = [tuple(Cell(head, "text") for head in FIELDS_OF_OWN)]
    commas = frozenset(
        head for at, head in enumerate(heads) if _has_commas([get_cell(row, at) for row in sheet.rows[1:]])
    )
    for row in sheet.rows[1:]:
        held = _Held({head: get_cell(row, at) for at, head in enumerate(heads)}, commas)
        texts = _join(held)
        rows.append(tuple(_put_one(head, held, texts) for head in FIELDS_OF_OWN))
    return replace(sheet, rows=tuple(rows), told=(*sheet.told, TOLD), hidden_columns=None, merged=None)


def _has_commas(cells: Sequence[Cell]) -> bool:
    """Whether the whole column has decimal commas, and no point or anything else."""
    filled = [(cell, text) for cell in cells if (text := tidy(cell.text))]
    has_one = any(_COMMA.fullmatch(text) for _, text in filled)
    return has_one and all(_COMMA.fullmatch(t) or ("." not in t and _is_written(cell, t)) for cell, t in filled)


def _is_written(cell: Cell, text: str) -> bool:
    is_kept = cell.kind in {"text", "number", "formula"}
    return is_kept and bool(_NUMBER.fullmatch(text) or (cell.kind == "number" and _OF_WORKBOOK.fullmatch(text)))


def _put_one(head: str, held: _Held, texts: Mapping[str, str]) -> Cell:
    """Returns the cell under a heading: one that a spreadsheet changed is an error, with all that it is made of."""
    if head in _PLAIN:
        return held.cells.get(head, EMPTY)
    sources = _SOURCES.get(head, ())
    if any(map(held.is_damaged, sources)):
        told = (f"{source} {tidy(held.cells[source].text) or '?'}" for source in sources if held.is_filled(source))
        return Cell("; ".join(told), "error")
    return _write(texts.get(head, ""))


def is_put_together(row: Row) -> bool:
    """Whether a row is the headings of such a table."""
    return [cell.text for cell in row] == list(FIELDS_OF_OWN)


def is_own(columns: Sequence[tuple[str, str]]) -> bool:
    """Whether columns, each a heading and its field, are those of such a table as it is put together."""
    own = list(FIELDS_OF_OWN.items())
    return list(columns) in (own, [(head, of) for head, of in own if head not in _LATER])


def read_exact(cell: Cell, kind: str, hand: str, hole: str) -> Part:
    """Reads a measure of such a table: it was asked about when it was first typed."""
    if cell.kind == "error":
        return ask(cell, CHANGED, "unknown")
    text = tidy(cell.text)
    if kind == "pair" and text != "unknown":
        return Part(cell.text, "value", text, text)  # whether it is one span or two, the holes of the grip say
    told = describe(_KINDS[kind], text, hand, hole)
    if told.reading.state in {"value", "unknown"}:
        return Part(cell.text, "value" if told.reading.state == "value" else "unknown", text, told.words)
    return ask(cell, told.reading.message, *told.reading.choices)


def _write(text: str) -> Cell:
    return Cell(text, "text") if text else EMPTY


def _join(held: _Held) -> dict[str, str]:
    texts = {head: exact(value) for head in _EXACT if (value := held.size(head)) is not None}
    if offset := held.size("thumb offset in"):
        texts["thumb offset in"] = f"{exact(abs(offset))} {'right' if offset > 0 else 'left'}"
    texts["hand"] = held.cells["fit hand"].text or held.cells["hand"].text
    grip = held.cells["grip"].text
    if not grip:
        return texts
    texts["grip"] = grip.replace("_", " and ")
    spans = {finger: held.size(f"{finger} span in") for finger in FINGERS}
    known = [f"{finger} {exact(span)}" for finger, span in spans.items() if span is not None]
    texts["spans"] = ", ".join(known) if len(known) == 2 else known[0].partition(" ")[2] if known else "unknown"
    filled = [d for d in DIGITS if _is_any_filled(held, (f"{d} {part}" for part in OF_HOLE))]
    for digit in DIGITS_OF.get(grip, filled):
        texts |= _join_hole(held, digit)
    return texts


def _is_any_filled(held: _Held, heads: Iterable[str]) -> bool:
    return any(map(held.is_filled, heads))


def _join_hole(held: _Held, digit: str) -> dict[str, str]:
    none = Fraction(0)
    hole, ahead, across = (held.size(f"{digit} {part} in") for part in ("hole", "forward", "right"))
    oval, deg = (held.size(f"{digit} oval {part}") or none for part in ("in", "deg"))
    is_known = ahead is not None and across is not None
    texts = {
        f"{digit} hole": "unknown" if hole is None else write_oval(Oval(hole, oval, deg)),
        f"{digit} pitch": write_pitch(Pitch(ahead or none, across or none)) if is_known else "unknown",
    }
    if lift := held.size(f"{digit} lift in"):
        texts[f"{digit} lift"] = f"{exact(lift)} @ {exact(held.size(f'{digit} lift deg') or none)}°"
    elif held.is_filled(f"{digit} insert"):
        texts[f"{digit} lift"] = "0"  # and not what the insert has by itself
    return texts
