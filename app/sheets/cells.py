"""A sheet as it is: its cells as shown, what is known of each, and the limits of what is taken in."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Literal

from app.errors import InvalidError

CellKind = Literal["text", "number", "date", "time", "error", "empty", "formula", "logical"]
MOST_ROWS = 50_000
MOST_COLUMNS = 200
LONGEST_CELL = 20_000  # characters
MOST_BYTES = 40_000_000  # of a file
MOST_CELLS = 2_000_000  # filled, ASSUMED: forty columns in each of the most rows
MOST_TEXT = 64_000_000  # characters in all, ASSUMED: keeps a sheet in about 300 MB


class SheetError(InvalidError):
    """The file cannot be taken in, in words for people."""


@dataclass(frozen=True, slots=True)
class Cell:
    """One cell: its text as shown, and what kind of value the file says it is.

    A date's text is its ISO date. `formula` is the result of a formula, whatever its kind; a formula that was never
    worked out is an error.
    """

    text: str
    kind: CellKind

    @property
    def is_empty(self) -> bool:
        return not self.text and self.kind != "error"


EMPTY = Cell("", "empty")
NOT_WORKED_OUT = "#?"  # shown for an error or a formula without a value
Row = tuple[Cell, ...]


@dataclass(frozen=True)
class Sheet:
    """Rows of cells from the first row of the file, blank rows included, each without its trailing empty cells.

    Hidden rows and columns, merged ranges (first row, first column, last row, last column) count from 0; they are None
    where the format does not say. `told` are sentences about the file for the person who takes it in.
    """

    name: str
    rows: tuple[Row, ...]
    names: tuple[str, ...] = ()
    hidden_sheets: tuple[str, ...] = ()
    hidden_rows: frozenset[int] | None = None
    hidden_columns: frozenset[int] | None = None
    merged: tuple[tuple[int, int, int, int], ...] | None = None
    told: tuple[str, ...] = ()

    @property
    def width(self) -> int:
        return max((len(row) for row in self.rows), default=0)


def get_cell(row: Row, column: int) -> Cell:
    """Returns the cell of a row, empty behind its end."""
    return row[column] if column < len(row) else EMPTY


@dataclass
class Gathering:
    """Collects rows within the limits and keeps equal cells once."""

    rows: list[Row] = field(default_factory=list)
    cells: int = 0
    characters: int = 0
    known: dict[Cell, Cell] = field(default_factory=dict)

    def add(self, cells: Iterable[Cell]) -> None:
        """Appends a row; raises SheetError beyond a limit."""
        row = [self.known.setdefault(cell, cell) for cell in cells]
        while row and row[-1].is_empty:
            row.pop()
        if row and len(self.rows) >= MOST_ROWS:
            raise SheetError(f"That sheet has more than {MOST_ROWS:,} rows. Part it into several files.")
        if len(row) > MOST_COLUMNS:
            raise SheetError(f"Row {len(self.rows) + 1} has more than {MOST_COLUMNS} columns.")
        for column, cell in enumerate(row):
            self.characters += len(cell.text)
            if len(cell.text) > LONGEST_CELL:
                raise SheetError(
                    f"Row {len(self.rows) + 1}, column {name_column(column)} has more than {LONGEST_CELL:,} characters."
                )
        self.cells += len(row)
        if self.cells > MOST_CELLS or self.characters > MOST_TEXT:
            raise SheetError("That sheet is too large to be read at once. Part it into several files.")
        if row or len(self.rows) < MOST_ROWS:
            self.rows.append(tuple(row))

    def finish(self) -> tuple[Row, ...]:
        """Returns the rows without the empty ones at the end."""
        while self.rows and not self.rows[-1]:
            self.rows.pop()
        return tuple(self.rows)


def name_column(column: int) -> str:
    """`A` for 0, `AB` for 27: what a spreadsheet calls its columns."""
    letters, number = "", column + 1
    while number > 0:
        number, rest = divmod(number - 1, 26)
        letters = chr(ord("A") + rest) + letters
    return letters


@dataclass(frozen=True)
class Marks:
    """What a look into the file itself says and the reading of values does not: by (row, column) from 0."""

    kinds: Mapping[tuple[int, int], CellKind] = field(default_factory=dict)
    hidden_rows: frozenset[int] | None = None
    hidden_columns: frozenset[int] | None = None
