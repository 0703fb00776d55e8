"""Sheets as they are taken in: their rows, columns, conventions and habits."""

import pytest
from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.errors import ConflictError, InvalidError
from app.models import SheetImport, SheetRow
from app.services import sheet_imports, sheet_rows
from app.sheets.files import read_file
from tests.services.sheets import make_csv, take_in, write_row
from tests.sheets.workbooks import write_xlsx


def test_blank_rows_and_headings_are_no_rows_and_numbers_are_the_spreadsheets(session: Session, who: str) -> None:
    import_id = take_in(session, int(who), make_csv(write_row("Odo Brandt"), ",,,", "", write_row("Ida Falk")))
    of = sheet_imports.get_import(session, import_id)
    assert of.rows == 2
    assert [row.number for row in sheet_rows.list_rows(session, of, 0)] == [2, 5]
    assert len(sheet_rows.load_sheet(session, import_id).rows) == 5


def test_a_workbook_keeps_the_kind_of_every_cell(session: Session, who: str) -> None:
    data = write_xlsx([["Name", "Hand", "Span M"], ["Odo Brandt", "R", "4 3/8"]])
    read = read_file(data)
    made = sheet_imports.take_in(session, int(who), ("cards.xlsx", sheet_imports.name_file(data, "")), read)
    (row,) = sheet_rows.list_rows(session, made, 0)
    assert row.cells == [["Odo Brandt", "text"], ["R", "text"], ["4 3/8", "text"]]
    assert made.sheets == list(read.names)


def test_conventions_that_are_none_are_refused_and_changed_ones_are_read_anew(session: Session, who: str) -> None:
    of = sheet_imports.get_import(session, take_in(session, int(who), make_csv(write_row("Odo Brandt"))))
    with pytest.raises(InvalidError):
        sheet_imports.set_conventions(session, int(who), of, {"span_edges": "somewhere"})
    with pytest.raises(InvalidError):
        sheet_imports.set_conventions(session, int(who), of, {"colour": "red"})
    of.state, version = "tried", of.version
    sheet_imports.set_conventions(session, int(who), of, {"span_edges": "finished"})
    assert (of.state, of.version, of.confirmed_by_id) == ("looked at", version + 1, int(who))
    assert sheet_imports.read_conventions(of).style == "fingertip"  # what was said before stays
    of.state = "done"
    with pytest.raises(ConflictError, match="stand"):
        sheet_imports.set_conventions(session, int(who), of, {"span_edges": "cut"})


def test_a_habit_that_there_is_not_stores_nothing(session: Session, who: str) -> None:
    data = make_csv(write_row("Odo Brandt"))
    with pytest.raises(InvalidError, match="No way of writing"):
        sheet_imports.take_in(session, int(who), ("a.csv", "hash"), read_file(data), "nobody's")
    assert session.scalar(select(func.count(SheetImport.id))) == 0
    assert session.scalar(select(func.count(SheetRow.id))) == 0
