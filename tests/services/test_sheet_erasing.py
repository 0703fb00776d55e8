"""An erased person stays in no row, choice, file name or reason of a sheet; other people's rows stay."""

from fastapi import FastAPI
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.models import Bowler, Change, Fit
from app.schemas.personal import ErasureForm
from app.services import personal, sheet_doubts, sheet_erasing, sheet_imports
from tests.conftest import Client, not_none
from tests.services.sheets import bring_in, list_all, make_csv, take_in, write_row


def erase(session: Session, who: str, number: int) -> None:
    person = not_none(session.get(Bowler, number))
    form = {"who": who, "name": person.name, "version": str(person.version)}
    personal.erase(session, number, ErasureForm.read(form))
    session.commit()


def test_rows_that_name_an_erased_person_nearly_are_emptied_and_others_lose_the_choice(
    app: FastAPI, session: Session, who: str
) -> None:
    session.rollback()
    rows = write_row("Ana Johnson"), write_row("Somebody Else", "555 0142 7788"), write_row("Odo Brandt")
    import_id = bring_in(app.state.sessions, int(who), make_csv(*rows))
    unread = take_in(session, int(who), make_csv(write_row("Anna Jonson"), write_row("Ida Falk")))
    found = list_all(session, import_id)
    assert [found[n].questions[-1]["choices"] for n in (2, 3)] == [["no. 1", "somebody new"]] * 2
    assert "Anna Johnson" not in str([row.questions for row in found.values()])
    erase(session, who, 1)
    found, early = list_all(session, import_id), list_all(session, unread)
    assert [bool(found[n].cells) for n in (2, 3, 4)] == [False, True, True]
    assert [bool(early[n].cells) for n in (2, 3)] == [False, True]
    assert found[3].questions[-1]["choices"] == ["somebody new"]


def test_a_file_that_is_named_after_an_erased_person_loses_its_name(app: FastAPI, session: Session, who: str) -> None:
    import_id = take_in(session, int(who), make_csv(write_row("Odo Brandt")))
    of = sheet_imports.get_import(session, import_id)
    of.file_name, of.sheet, of.sheets = "anna_johnson.xlsx", "Johnson Anna", ["Johnson Anna", "others"]
    fit = not_none(session.scalar(select(Fit).where(Fit.bowler_id != 1).limit(1)))
    fit.reason = "sheet anna_johnson.xlsx, row 7"
    session.add(Change(noun="fit", noun_id=fit.id, field="x", old="", new="", why=fit.reason, staff_id=int(who)))
    session.commit()
    erase(session, who, 1)
    of = sheet_imports.get_import(session, import_id)
    assert (of.file_name, of.sheet, of.sheets) == ("a sheet", "", ["others"])
    assert not_none(session.get(Fit, fit.id)).reason == "sheet a sheet, row 7"
    assert session.scalar(select(Change.id).where(Change.why.contains("anna_johnson"))) is None


def test_choices_are_named_by_their_own_records_and_rows(app: FastAPI, session: Session, who: str) -> None:
    session.rollback()
    left = write_row("BRANDT Odo", "555 0199 3344").replace(",R,", ",L,", 1)
    import_id = bring_in(
        app.state.sessions, int(who), make_csv(left, write_row("Odo Brandt"), write_row("Ana Johnson"))
    )
    of, found = sheet_imports.get_import(session, import_id), list_all(session, import_id)
    assert sheet_doubts.name_choices(session, of, found[3]) == {
        "row 2": "row 2 of this sheet: BRANDT Odo, left hand, phone …3344"
    }
    assert sheet_doubts.name_choices(session, of, found[4])["no. 1"].startswith("no. 1: Anna Johnson, right hand")


def test_rows_of_others_that_name_a_person_are_listed_before_erasing(
    app: FastAPI, session: Session, who: str, client: Client
) -> None:
    """A note may turn the name round or write it without accents; another of the same first name is not listed."""
    session.rollback()
    notes = "plays with Johnson Anna", "sister of ANNA  johnson, same inner", "knows Anna Brandt", ""
    rows = [write_row(f"Odo{n} Brandt", note=f'"{note}"') for n, note in zip("abcd", notes, strict=True)]
    import_id = bring_in(app.state.sessions, int(who), make_csv(*rows))
    found = sheet_erasing.list_mentions(session, [1])
    assert [(one.import_id, one.number, one.text) for one in found] == [
        (import_id, 2, notes[0]), (import_id, 3, notes[1]),
    ]  # fmt: skip
    session.rollback()
    page = client.get("/bowlers/1/held").text
    assert f"/moving-in/{import_id}/rows/3" in page and f"/moving-in/{import_id}/rows/4" not in page
