"""Rows of a sheet that was taken in: read back from their cells under the columns and conventions of their import."""

import json
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple, cast

from sqlalchemy import func, select
from sqlalchemy.orm import Session, aliased

from app.errors import NotFoundError
from app.models import SheetImport, SheetRow
from app.services import bowler_words
from app.sheets.cells import Cell, CellKind, Row, Sheet
from app.sheets.columns import Columns
from app.sheets.conventions import Conventions
from app.sheets.habits import Habits
from app.sheets.readings import RowReading
from app.sheets.rows import RowReader, find_habits

_LOADED_AT_ONCE = 2_000
PAGE = 25  # rows shown at once
HIDDEN = "This row is hidden in the sheet."


def make_cells(row: SheetRow) -> Row:
    return tuple(Cell(text, cast(CellKind, kind)) for text, kind in row.cells)


def load_sheet(session: Session, import_id: int) -> Sheet:
    """Returns all rows of an import as a sheet, with its blank rows."""
    rows: list[Row] = []
    known: dict[Cell, Cell] = {}
    while found := _load_after(session, import_id, len(rows)):
        for number, cells in found:
            rows += [()] * (number - 1 - len(rows))
            made = (Cell(text, cast(CellKind, kind)) for text, kind in cells)
            rows.append(tuple(known.setdefault(cell, cell) for cell in made))
    return Sheet("", tuple(rows))


def _load_after(session: Session, import_id: int, number: int) -> Sequence[tuple[int, list[list[str]]]]:
    own = (SheetRow.import_id == import_id, SheetRow.number > number)
    found = select(SheetRow.number, SheetRow.cells).where(*own).order_by(SheetRow.number).limit(_LOADED_AT_ONCE)
    return [(number, cells) for number, cells in session.execute(found)]


def find_usual(session: Session, of: SheetImport) -> dict[str, object]:
    """Returns what nearly every row of the sheet does, as JSON."""
    reader = RowReader(Columns.from_json(of.columns), Conventions.from_json(of.conventions))
    found = find_habits(reader, load_sheet(session, of.id))
    phones = {str(length): count for length, count in found.phones.items()}
    return {"sides": dict(found.sides), "phones": phones, "with_zero": found.with_zero}


def open_reader(of: SheetImport) -> RowReader:
    """Returns a reader of the import's rows: that of the last call, with all it has read, while nothing changed."""
    return _make_reader(json.dumps([of.columns, of.conventions, of.usual]))


@lru_cache(maxsize=2)
def _make_reader(held: str) -> RowReader:
    columns, conventions, found = json.loads(held)
    phones = Counter({int(length): count for length, count in found.get("phones", {}).items()})
    usual = Habits(Counter(found.get("sides", {})), phones, found.get("with_zero", 0))
    return RowReader(Columns.from_json(columns), Conventions.from_json(conventions), usual)


@dataclass(frozen=True)
class StoredRow:
    """A stored row and what is read of it now."""

    row: SheetRow
    reading: RowReading


def read_rows(reader: RowReader, rows: Sequence[SheetRow], above: SheetRow | None) -> list[StoredRow]:
    """Reads consecutive rows; `above` is the filled row before the first."""
    read, over = [], make_cells(above) if above else ()
    for row in rows:
        cells = make_cells(row)
        read.append(StoredRow(row, reader.read(row.number, cells, over, row.answers)))
        over = cells
    return read


def _find_last_heading(of: SheetImport) -> int:
    """The number of the last row before the data."""
    return cast(int, of.columns["first_row"])


def list_rows(session: Session, of: SheetImport, after: int, limit: int = PAGE, outcome: str = "") -> list[SheetRow]:
    """Returns the next rows under the headings, of one outcome or all."""
    beyond = max(after, _find_last_heading(of))
    wanted = select(SheetRow).where(SheetRow.import_id == of.id, SheetRow.number > beyond)
    if outcome:
        wanted = wanted.where(SheetRow.outcome == outcome)
    return list(session.scalars(wanted.order_by(SheetRow.number).limit(limit)))


def list_back(session: Session, of: SheetImport, limit: int) -> list[SheetRow]:
    """Returns the next rows of a pass that goes from the last row to the first."""
    own = (SheetRow.import_id == of.id, SheetRow.number > _find_last_heading(of))
    wanted = select(SheetRow).where(*own, SheetRow.number < of.done_to) if of.done_to else select(SheetRow).where(*own)
    return list(session.scalars(wanted.order_by(SheetRow.number.desc()).limit(limit)))


def find_above(session: Session, of: SheetImport, number: int) -> SheetRow | None:
    """Returns the filled row of data before this one."""
    before = (SheetRow.import_id == of.id, SheetRow.number < number, SheetRow.number > _find_last_heading(of))
    return session.scalar(select(SheetRow).where(*before).order_by(SheetRow.number.desc()).limit(1))


def get_row(session: Session, of: SheetImport, number: int) -> SheetRow:
    """Returns a row by its number in the sheet; raises NotFoundError."""
    found = session.scalar(select(SheetRow).where(SheetRow.import_id == of.id, SheetRow.number == number))
    if found is None or number <= _find_last_heading(of):
        raise NotFoundError("There is no such row.")
    return found


class Origin(NamedTuple):
    """The row of a sheet that made a record."""

    import_id: int
    number: int
    file_name: str


def find_origin(session: Session, fit_id: int) -> Origin | None:
    """Returns the row that made a fit; None for a fit that came from no sheet."""
    told = select(SheetRow.import_id, SheetRow.number, SheetImport.file_name).join(
        SheetImport, SheetImport.id == SheetRow.import_id
    )
    found = session.execute(told.where(SheetRow.fit_id == fit_id).limit(1)).first()
    return Origin(*found) if found else None


def list_read(session: Session, of: SheetImport, after: int, outcome: str = "") -> list[StoredRow]:
    """Returns a page of rows, each as it is read now."""
    rows = list_rows(session, of, after, PAGE, outcome)
    if not rows:
        return []
    reader = open_reader(of)
    if not outcome:
        return read_rows(reader, rows, find_above(session, of, rows[0].number))
    over = _find_all_above(session, of, rows)
    return [read_rows(reader, [row], over.get(row.number))[0] for row in rows]


def _find_all_above(session: Session, of: SheetImport, rows: Sequence[SheetRow]) -> dict[int, SheetRow]:
    """Returns the filled row of data before each of these, by the number of the row below it."""
    before = aliased(SheetRow)
    in_data = (before.import_id == of.id, before.number < SheetRow.number, before.number > _find_last_heading(of))
    over = select(func.max(before.number)).where(*in_data).scalar_subquery()
    pairs = session.execute(select(SheetRow.number, over).where(SheetRow.id.in_([row.id for row in rows])))
    numbers = {number: above for number, above in pairs if above}
    own = (SheetRow.import_id == of.id, SheetRow.number.in_(set(numbers.values())))
    found = {row.number: row for row in session.scalars(select(SheetRow).where(*own))}
    return {number: found[above] for number, above in numbers.items()}


def read_one(session: Session, of: SheetImport, row: SheetRow) -> StoredRow:
    return read_rows(open_reader(of), [row], find_above(session, of, row.number))[0]


def make_name_key(name: str) -> str:
    """Returns the words of a name, folded and sorted: rows with the same ones may be one person's."""
    return " ".join(sorted(bowler_words.fold_words(name)))[:120]
