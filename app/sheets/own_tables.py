"""Knows the table of all bowlers that Spanbook itself writes, and puts its exact columns into cells that say it all.

Its signs, edges and units are known: forward and right are positive, as seen from outside, in inches.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from fractions import Fraction

from app.closed_sets import DIGITS
from app.measures.ovals import Oval
from app.measures.pitches import Pitch
from app.measures.wording import exact
from app.sheets.cells import EMPTY, Cell, Row, Sheet, get_cell
from app.sheets.directions import write_pitch
from app.sheets.grips import write_oval
from app.sheets.parts import Part, ask, describe, tidy

OF_HOLE = ("hole in", "oval in", "oval deg", "forward in", "right in", "cut in", "depth in", "offset in")
_PLAIN = {
    "name": "name", "phone": "phone", "league": "league", "in force on": "fit_date", "style": "style",
    "span edges": "span_edges", "bridge edges": "bridge_edges", "thumb hardware": "system",
}  # fmt: skip
_EXACT = {
    "bridge in": "bridge",
    **{f"{digit} {part} in": f"{digit}_{part}" for digit in ("middle", "ring") for part in ("cut", "depth")},
}  # fmt: skip
_JOINED = {"thumb offset in": "thumb_offset", "hand": "hand", "grip": "grip_holes", "spans": "spans"} | {
    f"{digit} {part}": f"{digit}_{part}" for digit in DIGITS for part in ("hole", "pitch")
}
FIELDS_OF_OWN = _PLAIN | _EXACT | _JOINED  # by the headings of the table as it is put together
_WRITTEN = {"bowler", "fit hand", "middle span in", "ring span in", *(f"{d} {p}" for d in DIGITS for p in OF_HOLE)}
_NEEDED = (_WRITTEN | set(_PLAIN) | set(_EXACT)) - {"middle offset in", "ring offset in"}
SAID_OF_OWN = {
    "seen_from": "outside", "units": "in", "pitch_units": "in", "first_finger": "middle", "plain_vertical": "forward",
    "plain_lateral": "right", "name_order": "as_written",
}  # fmt: skip
_KINDS = {
    "pair": "span_pair", "bridge": "bridge", "hole": "oval", "pitch": "pitch", "depth": "depth", "offset": "offset",
}  # fmt: skip
TOLD = "Spanbook wrote this table: its exact columns are read, and what was typed is left out."


def put_together(sheet: Sheet) -> Sheet:
    """Returns the table of bowlers with one cell for each measure; any other sheet as it is."""
    heads = [tidy(cell.text) for cell in sheet.rows[0]] if sheet.rows else []
    if not set(heads) >= _NEEDED:
        return sheet
    rows = [tuple(Cell(head, "text") for head in FIELDS_OF_OWN)]
    for row in sheet.rows[1:]:
        held = {head: get_cell(row, at) for at, head in enumerate(heads)}
        texts = _join(held)
        rows.append(tuple(held[head] if head in _PLAIN else _write(texts.get(head, "")) for head in FIELDS_OF_OWN))
    return replace(sheet, rows=tuple(rows), told=(*sheet.told, TOLD), hidden_columns=None, merged=None)


def is_put_together(row: Row) -> bool:
    """Whether a row is the headings of such a table."""
    return [cell.text for cell in row] == list(FIELDS_OF_OWN)


def is_own(columns: Sequence[tuple[str, str]]) -> bool:
    """Whether columns, each a heading and its field, are those of such a table as it is put together."""
    return list(columns) == list(FIELDS_OF_OWN.items())


def read_exact(cell: Cell, kind: str, hand: str, hole: str) -> Part:
    """Reads a measure of such a table: it was asked about when it was first typed."""
    text = tidy(cell.text)
    if kind == "pair" and text != "unknown":
        return Part(cell.text, "value", text, text)  # whether it is one span or two, the holes of the grip say
    told = describe(_KINDS[kind], text, hand, hole)
    if told.reading.state in {"value", "unknown"}:
        return Part(cell.text, "value" if told.reading.state == "value" else "unknown", text, told.words)
    return ask(cell, told.reading.message, *told.reading.choices)


def _write(text: str) -> Cell:
    return Cell(text, "text") if text else EMPTY


def _join(held: Mapping[str, Cell]) -> dict[str, str]:
    def size(head: str) -> Fraction | None:
        text = tidy(held[head].text) if head in held else ""
        try:
            return Fraction(text) if text else None
        except (ValueError, ZeroDivisionError):
            return None

    texts = {head: exact(value) for head in _EXACT if (value := size(head)) is not None}
    if offset := size("thumb offset in"):
        texts["thumb offset in"] = f"{exact(abs(offset))} {'right' if offset > 0 else 'left'}"
    texts["hand"] = held["fit hand"].text or held["hand"].text
    if not held["grip"].text:
        return texts
    texts["grip"] = held["grip"].text.replace("_", " and ")
    spans = {finger: size(f"{finger} span in") for finger in ("middle", "ring")}
    known = [f"{finger} {exact(span)}" for finger, span in spans.items() if span is not None]
    texts["spans"] = ", ".join(known) if len(known) == 2 else known[0].partition(" ")[2] if known else "unknown"
    for digit in DIGITS:
        if not _has_hole(digit, held["grip"].text):
            continue
        hole, ahead, across = (size(f"{digit} {part} in") for part in ("hole", "forward", "right"))
        oval = Oval(
            hole or Fraction(0), size(f"{digit} oval in") or Fraction(0), size(f"{digit} oval deg") or Fraction(0)
        )
        texts[f"{digit} hole"] = write_oval(oval) if hole is not None else "unknown"
        is_known = ahead is not None and across is not None
        texts[f"{digit} pitch"] = (
            write_pitch(Pitch(ahead or Fraction(0), across or Fraction(0))) if is_known else "unknown"
        )
    return texts


def _has_hole(digit: str, grip: str) -> bool:
    return grip == "three" or (digit in grip.split("_") if grip != "thumbless" else digit != "thumb")
