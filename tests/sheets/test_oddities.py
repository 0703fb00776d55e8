"""What of a sheet is not seen on its face is told once for the file, by the names that a spreadsheet has for it."""

from app.sheets.cells import NOT_WORKED_OUT, Cell, Sheet
from app.sheets.oddities import list_oddities
from app.sheets.parts import ERROR_TOLD, NOT_WORKED_OUT_TOLD, find_damage

ROW = tuple(Cell(text, "text") for text in ("Odo Brandt", "R", "4 3/8"))


def test_hidden_rows_and_columns_and_merged_data_are_named_as_in_a_spreadsheet() -> None:
    odd = Sheet(
        "cards", (ROW, ROW, ROW, (), ROW), hidden_rows=frozenset({0, 2, 3, 4}), hidden_columns=frozenset({1, 30}),
        merged=((0, 0, 0, 2), (2, 1, 4, 1)),
    )  # fmt: skip
    hidden_rows, hidden_columns, merged = list_oddities(odd, 1)
    assert "rows 3, 5." in hidden_rows
    assert "column B." in hidden_columns
    assert merged.endswith(": B3 to B5.")


def test_many_are_counted_and_a_plain_sheet_has_none() -> None:
    many = Sheet("cards", (ROW,) * 20, hidden_rows=frozenset(range(1, 20)))
    (told,) = list_oddities(many, 1)
    assert "rows 2, 3, 4, 5, 6, 7, 8, 9 and 11 more" in told
    assert list(list_oddities(Sheet("cards", (ROW, ROW)), 1)) == []


def test_a_formula_without_a_result_is_told_apart_from_an_error() -> None:
    asked = [find_damage(Cell(text, "error")) for text in (NOT_WORKED_OUT, "#DIV/0!")]
    assert [part.message for part in asked if part] == [NOT_WORKED_OUT_TOLD, ERROR_TOLD]
