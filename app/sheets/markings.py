"""What the XML of a workbook says beside its values: errors, formulas, hidden rows and columns, and how large it is.

The reading library lays a sheet out as a full rectangle and leaves out errors and formulas that were never worked out.
So the size is counted here first, cell by cell, and no sheet that is larger than ours may be reaches the library.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cache

from app.sheets.archives import DAMAGED, Archive
from app.sheets.cells import MOST_CELLS, MOST_COLUMNS, MOST_ROWS, MOST_TEXT, CellKind, Marks, SheetError

_XLSX_TAG = re.compile(rb"<(?:\w+:)?(row|c|f|v|t|col)(?=[\s/>])([^>]*)>([^<]*)")
_SHARED_TAG = re.compile(rb"<(/?)(?:\w+:)?(si|t)(?=[\s/>])[^>]*>([^<]*)")
_ODS_TAG = re.compile(
    rb"<(/?)table:(table|table-row|table-cell|covered-table-cell|table-column)(?=[\s/>])([^>]*)>([^<]*)"
    rb"|<text:[a-z-]+[^>]*>([^<]*)"
)
_PLACE = re.compile(rb"([A-Z]{1,3})([1-9]\d{0,6})")
_YES = {b"1", b"true"}


@cache
def _compile_attribute(name: str) -> re.Pattern[bytes]:
    return re.compile(rb"(?:^|\s)%b\s*=\s*[\"']([^\"']*)[\"']" % name.encode())


def _get(attributes: bytes, name: str) -> bytes:
    found = _compile_attribute(name).search(attributes)
    return found[1] if found else b""


def _count(text: bytes, most: int) -> int:
    """Parses a count of an attribute, 1 if there is none; raises SheetError for nonsense."""
    if not text:
        return 1
    if not text.isdigit() or not 1 <= int(text[:9]) <= most or len(text) > 9:
        raise SheetError(DAMAGED)
    return int(text)


@dataclass
class _Size:
    """Counts filled cells and their text; raises SheetError beyond what is taken in."""

    cells: int = 0
    characters: int = 0

    def count(self, row: int, column: int, times: int = 1) -> None:
        self.cells += times
        if row >= MOST_ROWS:
            raise SheetError(f"That sheet has more than {MOST_ROWS:,} rows. Part it into several files.")
        if column >= MOST_COLUMNS:
            raise SheetError(f"Row {row + 1} has more than {MOST_COLUMNS} columns.")
        if self.cells > MOST_CELLS:
            raise SheetError("That sheet is too large to be read at once. Part it into several files.")

    def count_text(self, characters: int) -> None:
        self.characters += characters
        if self.characters > 4 * MOST_TEXT:  # bytes of XML: up to four a character
            raise SheetError("That sheet is too large to be read at once. Part it into several files.")


@dataclass
class _Xlsx:
    """The state of a look through one sheet's XML."""

    lengths: list[int]
    size: _Size = field(default_factory=_Size)
    kinds: dict[tuple[int, int], CellKind] = field(default_factory=dict)
    hidden_rows: set[int] = field(default_factory=set)
    hidden_columns: set[int] = field(default_factory=set)
    row: int = -1
    column: int = -1
    type: bytes = b""

    def take(self, tag: bytes, attributes: bytes, text: bytes) -> None:
        if tag == b"row":
            self.row = _count(_get(attributes, "r"), 1 << 20) - 1 if _get(attributes, "r") else self.row + 1
            self.column = -1
            if _get(attributes, "hidden") in _YES:
                self.hidden_rows.add(self.row)
        elif tag == b"col":
            low, high = (_count(_get(attributes, name), 1 << 14) for name in ("min", "max"))
            if _get(attributes, "hidden") in _YES:
                self.hidden_columns.update(range(low - 1, min(high, MOST_COLUMNS)))
        elif tag == b"c":
            self._take_cell(attributes)
        elif tag == b"f":
            self.kinds.setdefault((self.row, self.column), "formula")
        else:
            is_shared = tag == b"v" and self.type == b"s"
            self.size.count_text(self._get_shared(text) if is_shared else len(text))

    def _take_cell(self, attributes: bytes) -> None:
        place = _get(attributes, "r")
        if place:
            found = _PLACE.fullmatch(place)
            if not found:
                raise SheetError(DAMAGED)
            self.column, self.row = _number(found[1]), int(found[2]) - 1
        else:
            self.column += 1
        self.type = _get(attributes, "t")
        if self.type == b"e":
            self.kinds[self.row, self.column] = "error"
        if not attributes.endswith(b"/"):
            self.size.count(self.row, self.column)

    def _get_shared(self, text: bytes) -> int:
        if not text.strip().isdigit() or int(text[:9]) >= len(self.lengths):
            raise SheetError(DAMAGED)
        return self.lengths[int(text)]


def _number(letters: bytes) -> int:
    number = 0
    for letter in letters:
        number = number * 26 + letter - 64
    return number - 1


def scan_xlsx(archive: Archive, part: str) -> Marks:
    """Returns the marks of one sheet of an xlsx file; raises SheetError if it is larger than what is taken in."""
    state = _Xlsx(list(_list_shared_lengths(archive)))
    for match in archive.scan_tags(part, _XLSX_TAG):
        state.take(match[1], match[2], match[3])
    return Marks(state.kinds, frozenset(state.hidden_rows), frozenset(state.hidden_columns))


def _list_shared_lengths(archive: Archive) -> Iterator[int]:
    name = "xl/sharedStrings.xml"
    length = 0
    for match in archive.scan_tags(name, _SHARED_TAG) if name in archive.names else ():
        if match[2] == b"t":
            length += len(match[3])
        elif match[1]:
            yield length
            length = 0
        elif match[0].rstrip().endswith(b"/>"):
            yield 0


@dataclass
class _Table:
    """Marks and place within one table of an ods file."""

    row: int = 0
    column: int = 0
    next_row: int = 0
    columns: int = 0
    kinds: dict[tuple[int, int], CellKind] = field(default_factory=dict)
    hidden_rows: set[int] = field(default_factory=set)
    hidden_columns: set[int] = field(default_factory=set)

    def take(self, tag: bytes, attributes: bytes, size: _Size) -> None:
        is_hidden = _get(attributes, "table:visibility") in {b"collapse", b"filter"}
        if tag == b"table-row":
            times = _count(_get(attributes, "table:number-rows-repeated"), 1 << 20)
            self.row, self.next_row, self.column = self.next_row, self.next_row + times, 0
            if is_hidden:
                self.hidden_rows.update(range(self.row, min(self.next_row, MOST_ROWS)))
        elif tag == b"table-column":
            times = _count(_get(attributes, "table:number-columns-repeated"), 1 << 14)
            if is_hidden:
                self.hidden_columns.update(range(self.columns, min(self.columns + times, MOST_COLUMNS)))
            self.columns += times
        else:
            self._take_cell(attributes, size)

    def _take_cell(self, attributes: bytes, size: _Size) -> None:
        times = _count(_get(attributes, "table:number-columns-repeated"), 1 << 14)
        if b"office:" in attributes or b"table:formula" in attributes or not attributes.endswith(b"/"):
            size.count(self.next_row - 1, self.column + times - 1, times * (self.next_row - self.row))
            is_error = _get(attributes, "calcext:value-type") == b"error"
            kind: CellKind | None = "error" if is_error else "formula" if b"table:formula" in attributes else None
            if kind:
                for row in range(self.row, self.next_row):
                    self.kinds.update(((row, self.column + i), kind) for i in range(times))
        self.column += times


def scan_ods(archive: Archive) -> list[Marks]:
    """Returns the marks of each table of an ods file, in its order; raises SheetError as `scan_xlsx`."""
    tables: list[_Table] = []
    size = _Size()
    repeated = 1
    for match in archive.scan_tags("content.xml", _ODS_TAG):
        if match[2] == b"table" and not match[1]:
            tables.append(_Table())
        elif match[2] and not match[1] and tables:
            tables[-1].take(match[2], match[3], size)
            times = _get(match[3], "table:number-columns-repeated")
            repeated = _count(times, 1 << 14) * max(tables[-1].next_row - tables[-1].row, 1)
        elif match[5] and tables:
            size.count_text(len(match[5]) * repeated)
    return [Marks(t.kinds, frozenset(t.hidden_rows), frozenset(t.hidden_columns)) for t in tables]
