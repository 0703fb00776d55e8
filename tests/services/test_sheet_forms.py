"""What a row would make is asked about where it cannot be."""

import pytest
from sqlalchemy.orm import Session

from app.services import sheet_forms, sheet_imports, sheet_rows
from tests.services.sheets import MEASURES, make_csv, take_in, write_row


@pytest.mark.parametrize(("day", "asked"), [("2024-03-08", []), ("2924-03-08", ["fit_date"])])
def test_a_fit_of_a_day_to_come_is_asked(session: Session, who: str, day: str, asked: list[str]) -> None:
    data = make_csv(write_row("Odo Brandt", measures=MEASURES.replace("2024-03-08", day)))
    of = sheet_imports.get_import(session, take_in(session, int(who), data))
    (stored,) = sheet_rows.list_read(session, of, 0)
    assert [q.field for q in sheet_forms.build(session, of, stored).questions] == asked
