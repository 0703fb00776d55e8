"""Reads a workbook: xlsx, xls and ods."""

import html
import io
import posixpath
import re
from datetime import date, datetime, time, timedelta

from python_calamine import CalamineWorkbook, SheetTypeEnum, SheetVisibleEnum, load_workbook

from app.sheets.archives import DAMAGED, Archive
from app.sheets.cells import EMPTY, NOT_WORKED_OUT, Cell, CellKind, Gathering, Marks, Sheet, SheetError
from app.sheets.markings import scan_ods, scan_xlsx
from app.sheets.old_workbooks import scan_xls

Value = int | float | str | bool | time | date | datetime | timedelta
_ERROR_TEXTS = {"#DIV/0!", "#N/A", "#NAME?", "#NULL!", "#NUM!", "#REF!", "#VALUE!", "#GETTING_DATA", "Err:"}


def read_workbook(data: bytes, name: str = "") -> Sheet:
    """Returns one sheet of a workbook, by its name or the first that is not hidden; raises only SheetError."""
    is_old = data.startswith(b"\xd0\xcf\x11\xe0")
    archive = None if is_old else Archive(data)
    if archive and "xl/workbook.bin" in archive.names:
        raise SheetError("That is a binary workbook (xlsb). Save it as xlsx.")
    if archive and not {"xl/workbook.xml", "content.xml"} & archive.names:
        raise SheetError("That is no spreadsheet. Choose an xlsx, xls, ods, csv or tsv file.")
    if archive:
        archive.check_contents()
    old = scan_xls(data) if is_old else []
    tables = scan_ods(archive) if archive and "content.xml" in archive.names else []
    if archive and not tables:
        _find_marks_of_xlsx(archive, name)  # before the library opens it
    book = _open(data)
    names = [s.name for s in book.sheets_metadata if s.typ == SheetTypeEnum.WorkSheet]
    hidden = tuple(
        s.name for s in book.sheets_metadata if s.visible != SheetVisibleEnum.Visible and s.name in set(names)
    )
    shown = [n for n in names if n not in hidden] or names
    if not names or (name and name not in names):
        raise SheetError("That file has no such sheet." if names else "That file has no sheet.")
    chosen = name or shown[0]
    listed = old or tables
    if listed:
        marks = listed[names.index(chosen)] if len(listed) == len(names) else Marks()
    else:
        assert archive is not None
        marks = _find_marks_of_xlsx(archive, chosen)
    return _read_sheet(book, chosen, tuple(names), hidden, marks)


def _open(data: bytes) -> CalamineWorkbook:
    try:
        return load_workbook(io.BytesIO(data))
    except BaseException as error:
        raise _translate(error) from None


def _translate(error: BaseException) -> BaseException:
    """Returns a SheetError for what the library raises, a panic of its own included; an interrupt stays one."""
    if isinstance(error, KeyboardInterrupt | SystemExit | GeneratorExit | SheetError):
        return error
    if "assword" in str(error):
        return SheetError("That file is locked with a password. Save it without one.")
    return SheetError(DAMAGED)


def _find_marks_of_xlsx(archive: Archive, name: str) -> Marks:
    """Returns the marks of the sheet of this name; of every sheet, the last one's, where there is no name."""
    targets = dict(
        re.findall(r"<Relationship\b(?=[^>]*\bId=\"([^\"]*)\")[^>]*\bTarget=\"([^\"]*)\"", _read_rels(archive))
    )
    marks = Marks()
    for tag in re.findall(r"<(?:\w+:)?sheet\s[^>]*>", archive.read_whole("xl/workbook.xml")):
        found = dict(re.findall(r"([\w:]+)\s*=\s*\"([^\"]*)\"", tag))
        target = targets.get(next((v for k, v in found.items() if k.endswith(":id")), ""), "")
        part = posixpath.normpath(target.lstrip("/") if target.startswith("/") else f"xl/{target}")
        if part in archive.names and name in {"", html.unescape(found.get("name", ""))}:
            marks = scan_xlsx(archive, part)
    return marks


def _read_rels(archive: Archive) -> str:
    return archive.read_whole("xl/_rels/workbook.xml.rels")


def _read_sheet(
    book: CalamineWorkbook, name: str, names: tuple[str, ...], hidden: tuple[str, ...], marks: Marks
) -> Sheet:
    gathered = Gathering()
    try:
        sheet = book.get_sheet_by_name(name)
        if sheet.start is not None:
            for number, values in enumerate(sheet.iter_rows()):
                gathered.add(_convert_cell(value, marks.kinds.get((number, i))) for i, value in enumerate(values))
        merged = sheet.merged_cell_ranges
    except BaseException as error:
        raise _translate(error) from None
    rows = _add_lost(gathered.finish(), marks)
    ranges = None if merged is None else tuple((*low, *high) for low, high in merged)
    return Sheet(name, rows, names, hidden, marks.hidden_rows, marks.hidden_columns, ranges)


def _add_lost(rows: tuple[tuple[Cell, ...], ...], marks: Marks) -> tuple[tuple[Cell, ...], ...]:
    """Puts in the errors and formulas behind the last value that the library sees, where its rectangle ends."""
    lost: dict[int, list[int]] = {}
    for row, column in marks.kinds:
        if row < len(rows) and column >= len(rows[row]):
            lost.setdefault(row, []).append(column)
    if not lost:
        return rows
    grown = list(rows)
    for row, columns in lost.items():
        cells = [*rows[row], *[EMPTY] * (max(columns) + 1 - len(rows[row]))]
        for column in columns:
            cells[column] = Cell(NOT_WORKED_OUT, "error")
        grown[row] = tuple(cells)
    return tuple(grown)


def _convert_cell(value: Value, mark: CellKind | None) -> Cell:
    if mark == "error" or (mark == "formula" and value == ""):
        return Cell(str(value) or NOT_WORKED_OUT, "error")
    cell = _convert(value)
    return Cell(cell.text, "formula") if mark == "formula" and cell.kind not in {"date", "time", "error"} else cell


def _convert(value: Value) -> Cell:
    if isinstance(value, str):
        is_blank = not value or value.isspace()
        return EMPTY if is_blank else Cell(value, "error" if value in _ERROR_TEXTS else "text")
    if isinstance(value, bool):
        return Cell("TRUE" if value else "FALSE", "logical")
    if isinstance(value, int | float):
        return Cell(write_number(value), "number")
    return _convert_moment(value)


def _convert_moment(value: time | date | timedelta) -> Cell:
    match value:
        case datetime() if value.time() != time():
            return Cell(value.isoformat(" ", "minutes"), "date")
        case datetime():
            return Cell(value.date().isoformat(), "date")
        case date():
            return Cell(value.isoformat(), "date")
        case time():
            return Cell(value.isoformat("minutes"), "time")
        case timedelta():
            minutes = int(value.total_seconds() // 60)
            return Cell(f"{minutes // 60}:{minutes % 60:02d}", "time")


def write_number(value: float) -> str:
    """`4.375`, `5551234567`: a number with the fifteen figures that a spreadsheet keeps, never with an exponent."""
    text = f"{value:.15g}"
    if "e" not in text:
        return text
    return f"{value:.0f}" if abs(value) < 1e18 and value == int(value) else f"{value:.15f}".rstrip("0").rstrip(".")
