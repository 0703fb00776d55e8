"""Tables of bowlers are exact, and a spreadsheet runs no cell of them; read back by libraries of others."""

import csv
import io
import re
from fractions import Fraction

import openpyxl
import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.models import Bowler, Fit
from app.services import bowler_tables
from tests.conftest import not_none

HOSTILE = ("=1+1", "+1", "-1+2", "@SUM(A1)", "\t=1", "=cmd|' /C calc'!A0", "1/4", "\r=1")
NUMBER = re.compile(r"-?\d+(\.\d+)?")


def name_badly(session: Session) -> None:
    for number, words in enumerate(HOSTILE, 1):
        session.get_one(Bowler, number).name = words
    session.flush()


def test_each_fit_in_force_is_a_row_with_what_was_typed_and_what_it_is(session: Session) -> None:
    table = list(csv.DictReader(io.StringIO(bowler_tables.write_csv(bowler_tables.list_rows(session)))))
    fits = session.scalars(select(Fit).where(Fit.state == "in force")).all()
    assert len([row for row in table if row["fit"]]) == len(fits)
    assert len({row["bowler"] for row in table}) == len(session.scalars(select(Bowler.id)).all())
    row = next(row for row in table if row["bowler"] == "1")
    assert (row["ring span in"], row["spans, as typed"]) == ("4.125", "'4 x 4 1/8")
    assert Fraction(row["thumb forward in"]) == Fraction(-1, 4)
    assert Fraction(row["thumb oval in"]) == Fraction(1, 16)


def test_no_cell_of_a_csv_is_run_or_read_as_a_date(session: Session) -> None:
    name_badly(session)
    cells = [
        c for row in csv.reader(io.StringIO(bowler_tables.write_csv(bowler_tables.list_rows(session)))) for c in row
    ]
    assert {f"'{words}" for words in HOSTILE} <= set(cells)
    risky = [c for c in cells if re.match(r"[=+\-@\t\r|%]", c) or re.fullmatch(r"\d+/\d+", c)]
    assert [c for c in risky if not NUMBER.fullmatch(c)] == []


def test_no_cell_of_a_workbook_is_a_formula_and_numbers_are_exact(session: Session) -> None:
    """openpyxl reads a formula's cell as the type f."""
    name_badly(session)
    not_none(session.scalar(select(Fit).where(Fit.bowler_id == 1, Fit.state == "in force"))).bridge_in = Fraction(1, 3)
    session.flush()
    data = bowler_tables.write_workbook(bowler_tables.list_rows(session))
    sheet = not_none(openpyxl.load_workbook(io.BytesIO(data)).active)
    rows = list(sheet.iter_rows())
    assert [cell.value for cell in rows[0]] == bowler_tables.HEADINGS
    assert {cell.data_type for row in rows for cell in row} <= {"s", "inlineStr", "n", "d"}
    first = dict(zip(bowler_tables.HEADINGS, (cell.value for cell in rows[1]), strict=True))
    assert (first["name"], first["ring span in"], first["bridge in"]) == ("=1+1", 4.125, "1/3")
    assert first["spans, as typed"] == "4 x 4 1/8"


@pytest.mark.parametrize(
    ("value", "text"),
    [(Fraction(263, 64), "4.109375"), (Fraction(-1, 4), "-0.25"), (Fraction(0), "0"), (Fraction(27), "27"), (Fraction(1, 3), "'1/3")],
)  # fmt: skip
def test_an_exact_number_is_its_own_decimal_or_a_fraction(value: Fraction, text: str) -> None:
    assert bowler_tables.write_exact(value) == text
