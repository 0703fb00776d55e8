"""Guesses which column is what, from headings and contents, as a mapping that a person can change."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from typing import Literal

from app.sheets.cells import Cell, Row, Sheet, get_cell, name_column
from app.sheets.contents import SAMPLE, find_best
from app.sheets.fields import FIELDS
from app.sheets.headings import Heading, read_heading
from app.sheets.own_tables import FIELDS_OF_OWN, is_put_together

Sureness = Literal["sure", "likely", "guess", "none"]
_HEADING_WITHIN = 30  # rows from the top
_OF_FINGERS = {"span", "cut", "depth", "insert"}
_OF_ALL = {"hole", "oval", "pitch", "vertical", "lateral"}
_NAMES = {"vertical": "forward"}
_WAYS_OF = {"vertical": {"forward", "reverse"}, "lateral": {"left", "right", "under", "away"}}
_MANY = {"notes", "hand_notes"}  # fields that several columns may feed


@dataclass(frozen=True)
class Column:
    """One column: its field (empty: not taken in), how sure that is and why, and a direction its heading gives."""

    index: int
    heading: str
    field: str
    sure: Sureness = "none"
    why: str = ""
    says: str = ""


@dataclass(frozen=True)
class Columns:
    """What each column is. Data begin at `first_row`; rows count from 0. `doubts` are sentences about the headings.

    `contradicted` has the pairs of columns that may be swapped, each with a cell that says so (`app.sheets.headed`).
    """

    columns: tuple[Column, ...]
    first_row: int
    heading_rows: tuple[int, ...] = ()
    doubts: tuple[str, ...] = ()
    contradicted: tuple[tuple[str, str], ...] = ()

    def change(self, index: int, field: str) -> "Columns":
        """Returns it with one column as a person says it is; ValueError for a field that there is not."""
        if field and field not in FIELDS:
            raise ValueError(f"no field {field!r}")
        return replace(self, columns=tuple(_choose(c, field) if c.index == index else c for c in self.columns))

    def list_of(self, field: str) -> tuple[Column, ...]:
        return tuple(c for c in self.columns if c.field == field)

    @property
    def fields(self) -> frozenset[str]:
        return frozenset(c.field for c in self.columns if c.field)

    def to_json(self) -> dict[str, object]:
        return asdict(self)

    @classmethod
    def from_json(cls, held: Mapping[str, object]) -> "Columns":
        """Rebuilds it; ValueError for what is none."""
        listed, first, heads, doubts = (held.get(n) for n in ("columns", "first_row", "heading_rows", "doubts"))
        if not isinstance(listed, Sequence) or not isinstance(first, int) or not isinstance(heads, Sequence):
            raise ValueError("no columns")
        columns = tuple(Column(**c) for c in listed if isinstance(c, dict))
        if any(c.field and c.field not in FIELDS for c in columns):
            raise ValueError("a column has a field that there is not")
        told = tuple(str(d) for d in doubts) if isinstance(doubts, Sequence) else ()
        pairs = held.get("contradicted", ())
        contradicted = tuple((str(n), str(e)) for n, e in pairs) if isinstance(pairs, Sequence) else ()
        return cls(columns, first, tuple(int(h) for h in heads), told, contradicted)


def _choose(column: Column, field: str) -> Column:
    """Returns a column as a person says it is; a way that its heading names holds where such a measure has that way."""
    kind = FIELDS[field].kind if field else ""
    is_held = column.says in _WAYS_OF[kind] if kind in _WAYS_OF else field == column.field
    return replace(column, field=field, sure="sure", why="chosen by hand", says=column.says if is_held else "")


def guess_columns(sheet: Sheet) -> Columns:
    """Returns the proposal for a sheet. Nothing that is not at least a guess is taken in."""
    if sheet.rows and is_put_together(sheet.rows[0]):
        own = enumerate(FIELDS_OF_OWN.items())
        return Columns(tuple(Column(i, head, field, "sure", "Spanbook wrote it") for i, (head, field) in own), 1, (0,))
    rows = find_heading_rows(sheet.rows)
    first = rows[-1] + 1 if rows else next((i for i, row in enumerate(sheet.rows) if row), 0)
    texts = _join_headings(sheet, rows)
    samples = _take_samples(sheet.rows[first:], len(texts))
    headings = _inherit_holes([read_heading(text) for text in texts], texts)
    columns = [_guess_column(i, t, h, samples[i]) for i, (t, h) in enumerate(zip(texts, headings, strict=True))]
    doubts = [f"“{text}” stands over {times} columns." for text, times in _count_same(texts).items()]
    return Columns(tuple(_part_rivals(columns)), first, rows, tuple(doubts))


def find_heading_rows(rows: Sequence[Row]) -> tuple[int, ...]:
    """Returns the row of headings, with the row of groups over it or of parts under it; none if there is none."""
    best, best_score = -1, 1.5
    for number, row in enumerate(rows[:_HEADING_WITHIN]):
        found = _score_headings(row)
        if found > best_score:
            best, best_score = number, found
    if best < 0:
        return ()
    found_rows = [best]
    if best and _score_headings(rows[best - 1]) >= 1 and _has_no_figures(rows[best - 1]):
        found_rows.insert(0, best - 1)
    below = rows[best + 1] if best + 1 < len(rows) else ()
    if len(found_rows) == 1 and _score_headings(below) >= 2 and _has_no_figures(below):
        found_rows.append(best + 1)
    return tuple(found_rows)


def _score_headings(row: Row) -> float:
    """Returns how many cells of a row are headings, less those that are values."""
    known = sum(c.kind == "text" and len(c.text) < 60 and bool(_is_heading(c.text)) for c in row)
    values = sum(c.kind in {"number", "date"} or any(x.isdigit() for x in c.text) for c in row)
    return known - values


def _is_heading(text: str) -> bool:
    heading = read_heading(text)
    return bool(heading.means or heading.hole)


def _has_no_figures(row: Row) -> bool:
    return not any(any(x.isdigit() for x in cell.text) for cell in row)


def _join_headings(sheet: Sheet, rows: Sequence[int]) -> list[str]:
    """Returns a heading for each column; a group's word counts for the empty cells behind it."""
    texts = [""] * sheet.width
    for place, number in enumerate(rows):
        is_group = place == 0 and len(rows) > 1
        merged = {
            column: (low, left)
            for low, left, high, right in sheet.merged or ()
            if low <= number <= high
            for column in range(left, right + 1)
        }
        before = ""
        for column in range(sheet.width):
            text = " ".join(get_cell(sheet.rows[number], column).text.split())
            if column in merged and merged[column] != (number, column) and merged[column][0] == number:
                text = get_cell(sheet.rows[number], merged[column][1]).text
            elif is_group and not text and sheet.merged is None:
                text = before
            before = text or before
            texts[column] = f"{texts[column]} {text}".strip()
    return texts


def _take_samples(rows: Iterable[Row], width: int) -> list[list[Cell]]:
    samples: list[list[Cell]] = [[] for _ in range(width)]
    for row in rows:
        for column, cell in enumerate(row):
            if not cell.is_empty and cell.kind != "error" and len(samples[column]) < SAMPLE:
                samples[column].append(cell)
    return samples


def _inherit_holes(headings: list[Heading], texts: list[str]) -> list[Heading]:
    """Gives measures without a hole that of the heading before them, if some measure repeats and so needs one."""
    lone = [h.means for h in headings if h.means in _OF_ALL and not h.hole]
    if len(lone) == len(set(lone)) and not any(h.hole and not h.means for h in headings):
        return headings
    before, given = "", []
    for heading in headings:
        if heading.hole in {"thumb", "middle", "ring"}:
            before = heading.hole
        given.append(heading.inherit(before) if heading.means in _OF_ALL | _OF_FINGERS else heading)
    return given


def _count_same(texts: Iterable[str]) -> dict[str, int]:
    plain = [" ".join(t.lower().split()) for t in texts if t]
    return {t: plain.count(t) for t in dict.fromkeys(plain) if plain.count(t) > 1}


def _guess_column(index: int, text: str, heading: Heading, cells: Sequence[Cell]) -> Column:
    name = text or f"column {name_column(index)}"
    if not cells and not text:
        return Column(index, name, "", "none", "nothing stands in it")
    fields = _list_fields(heading)
    if not fields:
        return _guess_from_contents(index, name, cells)
    field, fit = find_best(fields, cells)
    says = heading.says if FIELDS[field].kind in {"vertical", "lateral", "pitch", "span", "pair"} else ""
    if fit < 0.3:
        return Column(index, name, field, "guess", "its heading says so, and its contents do not look like it", says)
    if len(fields) > 1 or heading.is_doubtful or fit < 0.6:
        return Column(index, name, field, "likely", "from its heading and its contents", says)
    return Column(index, name, field, "sure", "its heading says so", says)


_ALONE = {
    "system": "system", "offset": "thumb_offset", "edges": "span_edges", "span": "spans", "insert": "inserts",
    "depth": "bore_depth",
}  # fmt: skip
_OF_THUMB = {"insert": "system", "depth": "bore_depth", "cut": "bore_depth", "": "thumb_hole"}


def _list_fields(heading: Heading) -> list[str]:
    """Returns the fields that a heading may mean, likelier ones first."""
    hole, means = heading.hole, heading.means
    if means in FIELDS and (not hole or means in {"fit_date", "bridge"}):
        return [means, "inserts"] if means == "style" else [means]
    if means in {"system", "offset", "edges"} or hole in {"", "both"}:
        listed = [_ALONE.get(means, "")]
    elif hole == "thumb":
        listed = [_OF_THUMB.get(means, f"thumb_{_NAMES.get(means, means)}"), "" if means else "thumb_pitch"]
    elif means == "span":
        listed = [f"span_{hole}"]
    elif not means:
        listed = [f"span_{hole}", f"{hole}_hole", f"{hole}_pitch"]
    else:
        listed = [f"{hole}_{_NAMES.get(means, means)}", f"{hole}_hole" if means == "insert" else ""]
    return [name for name in listed if name in FIELDS]


def _guess_from_contents(index: int, name: str, cells: Sequence[Cell]) -> Column:
    """A column whose heading says nothing: what can be told from contents alone, always a guess."""
    tried = ["hand", "phone", "fit_date", "name", "spans"]
    field, fit = find_best(tried, cells)
    if cells and fit >= 0.9:
        return Column(index, name, field, "guess", "its contents look like it")
    return Column(index, name, "", "none", "nothing tells what it is")


def _part_rivals(columns: Sequence[Column]) -> list[Column]:
    """Leaves a field to its surest column; forward and reverse in two columns are both kept, and so are notes."""
    return [c if not c.field or c.field in _MANY else _part_from(c, columns) for c in columns]


def _part_from(column: Column, columns: Sequence[Column]) -> Column:
    order: list[Sureness] = ["sure", "likely", "guess", "none"]
    rivals = [c for c in columns if (c.field, c.says) == (column.field, column.says) and c is not column]
    if not rivals:
        return column
    is_worse = any((order.index(c.sure), c.index) < (order.index(column.sure), column.index) for c in rivals)
    why = f"another column also looks like {FIELDS[column.field].words}"
    return replace(column, field="" if is_worse else column.field, sure="none" if is_worse else "guess", why=why)
