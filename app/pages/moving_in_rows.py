"""The rows of a sheet that is taken in: lists of them, one side by side, and the inbox of those that ask."""

from typing import Annotated

from fastapi import Query, Response

from app.errors import InvalidError, ShopError
from app.pages.admission import PageDep, PageRouter, Posted, RecordId
from app.pages.render import Page, Shown, name_session_cookie
from app.schemas.forms import LARGEST_ID
from app.schemas.sheets import AnswersForm
from app.services import sheet_doubts, sheet_imports, sheet_inbox, sheet_rows
from app.services.inbox_desks import InboxDesks
from app.services.sheet_forms import AT_FORM
from app.services.sheet_hardware import PREFIX, list_hardware
from app.sheets.cells import name_column
from app.sheets.fields import FIELDS

router = PageRouter(prefix="/moving-in")
After = Annotated[int, Query(ge=0, le=LARGEST_ID)]
_OUTCOMES = ("taken", "asked", "refused")
_WORDS = {
    "bowler": "Who", "jump": "A jump", "spans": "Both spans", "name": "Name", "bore_datum": "Datum of the bore's depth",
    "bridge_edges": "Edges of the bridge",
}  # fmt: skip


def name_field(name: str) -> str:
    """What a question's field is called on the page."""
    plain = name.removeprefix(AT_FORM).removeprefix(PREFIX)
    return _WORDS.get(plain) or (FIELDS[plain].words if plain in FIELDS else plain.replace("_", " "))


@router.get("/{import_id}/rows")
def list_rows(page: PageDep, import_id: RecordId, outcome: str = "", after: After = 0) -> Response:
    """Rows by the page, all or those of one outcome, each as typed and as it reads back."""
    of = sheet_imports.get_import(page.session, import_id)
    chosen = outcome if outcome in _OUTCOMES else ""
    read = sheet_rows.list_read(page.session, of, after, chosen)
    shown: Shown = {"sheet": of, "read": read, "outcome": chosen, "outcomes": _OUTCOMES, "after": after}
    shown |= {"counts": sheet_imports.count_outcomes(page.session, of)}
    shown |= {"next_after": read[-1].row.number if len(read) == sheet_rows.PAGE else None}
    return page.show("moving_in/rows.html", **shown)


def _load_row(page: Page, import_id: int, number: int, is_open_elsewhere: bool = False) -> Shown:
    of = sheet_imports.get_import(page.session, import_id)
    row = sheet_rows.get_row(page.session, of, number)
    stored = sheet_rows.read_one(page.session, of, row)
    headings = {c.index: c.heading for c in sheet_imports.read_columns(of).columns}
    told = {cell.column: cell for cell in stored.reading.cells}
    return {
        "sheet": of,
        "row": row,
        "is_open_elsewhere": is_open_elsewhere,
        "reading": stored.reading,
        "cells": [
            (name_column(i), headings.get(i, ""), text, kind, told.get(i)) for i, (text, kind) in enumerate(row.cells)
        ],
        "named": sheet_doubts.name_choices(page.session, of, row),
        "questions": [(name_field(str(q["field"])), q) for q in row.questions],
        "hardware": list_hardware(page.session, stored.reading.beside, row.answers),
        "left": sheet_inbox.count_asked(page.session, of) if of.state == "done" else 0,
        "name_field": name_field,
        "owner": stored.reading.bowler.get("name", ""),
    }


@router.get("/{import_id}/rows/{number}")
def show_row(page: PageDep, import_id: RecordId, number: RecordId) -> Response:
    """One row: every cell as typed, as read and read back, and what it asks."""
    return page.show("moving_in/row.html", **_load_row(page, import_id, number))


@router.get("/{import_id}/inbox")
def show_inbox(page: PageDep, import_id: RecordId, after: After = 0) -> Response:
    """The next row that asks something; the import itself when nothing is left."""
    of = sheet_imports.get_import(page.session, import_id)
    desks: InboxDesks = page.request.app.state.inbox_desks
    browser = page.request.cookies.get(name_session_cookie(page.request), "")
    others = desks.list_of_others(import_id, browser)
    row = sheet_inbox.find_next(page.session, of, after, others) if of.state == "done" else None
    if row is None:
        return page.redirect(f"/moving-in/{import_id}")
    desks.open_row(import_id, browser, row.number)
    return page.show("moving_in/row.html", **_load_row(page, import_id, row.number, row.number in others))


@router.post("/{import_id}/rows/{number}")
def answer_row(page: PageDep, import_id: RecordId, number: RecordId, posted: Posted) -> Response:
    """Takes the answers to a row; the next row comes, or the same one if it still asks something."""
    of = sheet_imports.get_import(page.session, import_id)
    row = sheet_rows.get_row(page.session, of, number)
    try:
        form = page.read(AnswersForm, posted)
        if form.leave_out:
            sheet_inbox.leave_out(page.session, form.who, of, number)
        else:
            said = form.choose(_list_choices(row.questions))
            if row.questions and not said:
                raise InvalidError("Choose an answer, or write it.")
            row = sheet_inbox.answer(page.session, form.who, of, number, said)
    except ShopError as error:
        return page.show_refused(error, "moving_in/row.html", posted, lambda: _load_row(page, import_id, number))
    again = f"/moving-in/{import_id}/rows/{number}"
    return page.redirect(again if row.outcome == "asked" else f"/moving-in/{import_id}/inbox?after={number}")


def _list_choices(questions: list[dict[str, object]]) -> dict[str, list[str]]:
    found = {}
    for question in questions:
        choices = question.get("choices")
        found[str(question["field"])] = [str(c) for c in choices] if isinstance(choices, list) else []
    return found
