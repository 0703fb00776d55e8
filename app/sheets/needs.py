"""Lists the conventions that must be asked for a file: those that some of its cells cannot be read without."""

import re
from collections.abc import Callable, Iterator

from app.sheets.cells import Cell, Sheet, get_cell
from app.sheets.columns import Column, Columns
from app.sheets.conventions import Need, make_need
from app.sheets.fields import FIELDS
from app.sheets.headed import CONVENTION_OF
from app.sheets.parts import clean_text, tidy

_MOST_EXAMPLES = 5
_LENGTHS = {"span", "pair", "hole", "bridge", "depth"}
_PITCHES = {"vertical", "lateral", "pitch"}
_BARE = re.compile(r"[-+]?(?:\d+(?:\.\d*)?|\.\d+)")
_WAY = re.compile(r"[a-z←→]")
_SIDE = re.compile(r"(?<![a-z])(?:l|lt|left|r|rt|right|←|→)(?![a-z])")
_OF_BOTH_SIDES = re.compile(r"(?<![a-z])(?:l|lt|left|rt|right|←|→)(?![a-z])|\d\s*r\b.*\d\s*r\b|\br\s*\d.*\br\s*\d")
_DATUM = re.compile(r"collar|crown|edge|stop")
_SHORT_DATE = re.compile(r"(\d{1,2})[-./](\d{1,2})[-./](?:\d{4}|\d{2})")


def _is_sized(text: str) -> bool:
    return bool(re.search(r"[1-9]", text))


def _is_bare(column: Column, cell: Cell) -> bool:
    plain = clean_text(cell.text)
    if not _is_sized(plain):
        return False
    is_pair = _kind(column) == "pair" and not re.search(r"mm|cm|\"|\bin\b|/", plain)
    return is_pair or bool(_BARE.fullmatch(plain))


def _kind(column: Column) -> str:
    return FIELDS[column.field].kind


def _has_plain_way(column: Column, cell: Cell) -> bool:
    plain = clean_text(cell.text)
    return _is_sized(plain) and not _WAY.search(re.sub(r"\b(?:mm|in|deg|cm)\b", "", plain))


def _needs_plain(kind: str) -> Callable[[Column, Cell], bool]:
    return lambda column, cell: (
        (_kind(column) == kind and not column.says and _has_plain_way(column, cell))
        or (
            _kind(column) == kind
            and column.says != ""
            and cell.text.strip()[:1] in "-−–"
            and _has_plain_way(column, cell)
        )
        or (_kind(column) == "pitch" and _has_plain_way(column, cell))
    )


def _needs_view(column: Column, cell: Cell) -> bool:
    kind, plain = _kind(column), clean_text(cell.text)
    if kind == "lateral":
        is_sided = bool(_SIDE.search(plain)) or column.says in {"left", "right"} or _has_plain_way(column, cell)
        return _is_sized(plain) and is_sided
    if kind in {"oval", "hole"}:
        return bool(re.search(r"@|\d:\d|left|right|cw|deg|°", plain))
    return kind == "pitch" and _is_sized(plain) and (bool(_OF_BOTH_SIDES.search(plain)) or _has_plain_way(column, cell))


def _needs_units(column: Column, cell: Cell) -> bool:
    return _kind(column) in _LENGTHS and cell.kind != "date" and _is_bare(column, cell)


def _needs_pitch_units(column: Column, cell: Cell) -> bool:
    sizes = re.sub(r"[a-z←→\s]", " ", clean_text(cell.text)) if _kind(column) in _PITCHES else ""
    return any(_BARE.fullmatch(s) and _is_sized(s) for s in re.split(r"[\sx,;]+", sizes))


def _needs_comma(column: Column, cell: Cell) -> bool:
    return _kind(column) in _LENGTHS | _PITCHES and bool(re.search(r"\d,\d", cell.text))


def _needs_date_order(column: Column, cell: Cell) -> bool:
    found = _SHORT_DATE.fullmatch(tidy(cell.text)) if _kind(column) == "date" and cell.kind != "date" else None
    return bool(found) and found is not None and int(found[1]) <= 12 and int(found[2]) <= 12


_OF_A_CELL: dict[str, Callable[[Column, Cell], bool]] = {
    "span_edges": lambda column, cell: _kind(column) in {"pair", "span"},
    "first_finger": lambda column, cell: _kind(column) == "pair" and not re.search(r"[a-z]{3}", cell.text.lower()),
    "pitch_order": lambda column, cell: _kind(column) == "pitch" and _has_plain_way(column, cell),
    "plain_vertical": _needs_plain("vertical"),
    "plain_lateral": _needs_plain("lateral"),
    "seen_from": _needs_view,
    "bridge_edges": lambda column, cell: _kind(column) == "bridge",
    "datum": lambda column, cell: column.field == "bore_depth" and not _DATUM.search(cell.text.lower()),
    "units": _needs_units,
    "pitch_units": _needs_pitch_units,
    "comma": _needs_comma,
    "date_order": _needs_date_order,
    "name_order": lambda column, cell: column.field == "name" and "," in cell.text,
}  # fmt: skip


def list_needed(sheet: Sheet, columns: Columns) -> tuple[Need, ...]:
    """Returns the conventions to be asked once for this file, each with cells that need it. Nothing has a default."""
    found: dict[str, list[str]] = {}
    seen: set[tuple[int, Cell]] = set()
    listed = [c for c in columns.columns if c.field]
    for row in sheet.rows[columns.first_row :]:
        for column in listed:
            cell = get_cell(row, column.index)
            if cell.is_empty or (column.index, cell) in seen:
                continue
            seen.add((column.index, cell))
            for name, needs in _OF_A_CELL.items():
                if len(found.get(name, ())) < _MOST_EXAMPLES and needs(column, cell):
                    found.setdefault(name, []).append(cell.text)
    for name, example in _list_of_rows(sheet, columns):
        if len(found.setdefault(name, [])) < _MOST_EXAMPLES:
            found[name].append(example)
    for name in {"span_edges", "bridge_edges"} & columns.fields:
        found.pop(name, None)
    for pair, example in columns.contradicted:
        found.setdefault(CONVENTION_OF[pair], []).append(example)
    order = ["pitch_headings", "span_headings", "hand", "style", "grip_holes", *_OF_A_CELL, "empty_pitch"]
    return tuple(make_need(name, tuple(found[name])) for name in order if name in found)


def _list_of_rows(sheet: Sheet, columns: Columns) -> Iterator[tuple[str, str]]:
    """Yields the conventions that a whole row needs: a hand, a style, a hole or half a pitch that it leaves out."""
    places: dict[str, list[int]] = {}
    for column in columns.columns:
        places.setdefault(column.field, []).append(column.index)
    digits = {
        d: [c.index for c in columns.columns if c.field and FIELDS[c.field].hole == d]
        for d in ("thumb", "middle", "ring")
    }
    for number, row in enumerate(sheet.rows[columns.first_row :], columns.first_row + 1):

        def is_filled(indexes: list[int], row: tuple[Cell, ...] = row) -> bool:
            return any(not get_cell(row, i).is_empty for i in indexes)

        if not any(is_filled(d) for d in digits.values()):
            continue
        for name in ("hand", "style"):
            if not is_filled(places.get(name, [])):
                yield name, f"row {number}"
        has_pair = is_filled(places.get("spans", []))
        if not is_filled(places.get("grip_holes", [])) and not all(
            is_filled(d) or (has_pair and name != "thumb") for name, d in digits.items()
        ):
            yield "grip_holes", f"row {number}"
        for digit in digits:
            halves = [is_filled(places.get(f"{digit}_{way}", [])) for way in ("forward", "lateral")]
            if halves[0] != halves[1]:
                yield "empty_pitch", f"row {number}"
