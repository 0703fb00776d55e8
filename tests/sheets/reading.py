"""Reads the rows of a sheet with the product's reader, as an import does."""

from collections.abc import Iterator, Mapping

from app.sheets.cells import Row, Sheet
from app.sheets.columns import Columns
from app.sheets.conventions import Conventions
from app.sheets.headed import doubt_headings
from app.sheets.readings import RowReading
from app.sheets.rows import NOTHING, RowReader, find_habits


def read_rows(
    sheet: Sheet, columns: Columns, conventions: Conventions, answers: Mapping[int, Mapping[str, str]] | None = None
) -> Iterator[RowReading]:
    """The reading of every row under the headings that is not blank; `answers` are by row, counted from 0."""
    reader = RowReader(doubt_headings(sheet, columns), conventions)
    reader.habits = find_habits(reader, sheet)
    above: Row = ()
    for number, row in enumerate(sheet.rows):
        if number >= columns.first_row and any(cell.text.strip() for cell in row):
            yield reader.read(number, row, above, (answers or {}).get(number, NOTHING))
            above = row
