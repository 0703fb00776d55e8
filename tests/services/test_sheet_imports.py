"""Sheets as they are taken in: their rows, columns, conventions and habits."""

from dataclasses import replace

import pytest
from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.errors import ConflictError, InvalidError
from app.models import SheetImport, SheetRow
from app.services import sheet_imports, sheet_rows
from app.sheets.files import read_file
from tests.services.sheets import MEASURES, make_csv, take_in, write_row
from tests.sheets.damaged import CONVENTIONS
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


def test_headings_that_cells_contradict_are_held_until_the_columns_are_swapped_or_said_to_be_right(
    session: Session, who: str
) -> None:
    swapped = MEASURES.replace("1/4 R,1/8 L", "1/8 R,1/4 R")
    rows = [
        write_row("Odo Brandt", measures=swapped),
        write_row("Ida Falk", measures=swapped.replace("1/8 R", "1/8 L", 1)),
    ]
    unsaid = replace(CONVENTIONS, pitch_headings="")
    import_id = take_in(session, int(who), make_csv(*rows), unsaid)
    of = sheet_imports.get_import(session, import_id)
    assert of.needs[0]["name"] == "pitch_headings"
    assert [s.reading.outcome for s in sheet_rows.list_read(session, of, 0)] == ["asked", "asked"]
    sheet_imports.set_conventions(session, int(who), of, {"pitch_headings": "as_headed"})
    assert [s.reading.outcome for s in sheet_rows.list_read(session, of, 0)] == ["taken", "asked"]
    assert "pitch_headings" not in sheet_imports.save_habit(session, int(who), of, "cards").conventions
    columns = sheet_imports.choose_columns(of, {6: "thumb_lateral", 7: "thumb_forward"})
    sheet_imports.set_columns(session, int(who), of, columns, sheet_rows.load_sheet(session, import_id))
    read = [s.reading for s in sheet_rows.list_read(session, of, 0)]
    assert ("pitch_headings" in of.conventions, [n["name"] for n in of.needs].count("pitch_headings")) == (False, 0)
    assert [(r.outcome, r.fit["thumb_pitch"]) for r in read] == [
        ("taken", "1/4 reverse, 1/8 right"), ("taken", "1/4 reverse, 1/8 left"),
    ]  # fmt: skip
