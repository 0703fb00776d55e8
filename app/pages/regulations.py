from datetime import date

from fastapi import Response

from app.errors import ShopError
from app.pages.admission import PageDep, PageRouter, Posted, RecordId
from app.pages.render import Page, Shown
from app.schemas.forms import SignedForm
from app.schemas.regulations import ROWS, EndingForm, ImportForm, RegulationForm
from app.services import changes, regulations

router = PageRouter(prefix="/regulations")


def _load_list(page: Page) -> Shown:
    found = regulations.list_regulations(page.session)
    return {
        "regulations": found,
        "in_force": {of.id for of in found if regulations.is_in_force(of, date.today())},
        "has_example": any(of.is_example and not of.ended_on for of in found),
        "rows": list(ROWS.items()),
    }


@router.get("")
def list_regulations(page: PageDep) -> Response:
    """Every edition that was typed or imported, and for owners the forms of a new one."""
    return page.show("regulations/index.html", **_load_list(page))


@router.post("")
def add_regulation(page: PageDep, posted: Posted) -> Response:
    try:
        added = regulations.add(page.session, page.read(RegulationForm, posted))
    except ShopError as error:
        return page.show_refused(error, "regulations/index.html", posted, lambda: _load_list(page), "new")
    return page.redirect(f"/regulations/{added.id}")


@router.post("/import")
def import_regulation(page: PageDep, posted: Posted) -> Response:
    try:
        added = regulations.add_imported(page.session, page.read(ImportForm, posted))
    except ShopError as error:
        return page.show_refused(error, "regulations/index.html", posted, lambda: _load_list(page), "import")
    return page.redirect(f"/regulations/{added.id}")


@router.post("/example")
def add_example(page: PageDep, posted: Posted) -> Response:
    try:
        added = regulations.add_example(page.session, page.read(SignedForm, posted))
    except ShopError as error:
        return page.show_refused(error, "regulations/index.html", posted, lambda: _load_list(page), "example")
    return page.redirect(f"/regulations/{added.id}")


def _load(page: Page, regulation_id: int) -> Shown:
    found = regulations.get_regulation(page.session, regulation_id)
    body = regulations.read_body(found)
    return {
        "regulation": found,
        "body": body,
        "groups": [
            ("Balls with their holes", body.classes),
            ("Drilled without a thumb hole", body.without_thumb),
            ("Without any hole", body.without_holes),
        ],
        "is_in_force": regulations.is_in_force(found, date.today()),
        "file": regulations.write_file(found),
        "history": changes.list_record_lines(page.session, found),
    }


@router.get("/{regulation_id}")
def show_regulation(page: PageDep, regulation_id: RecordId) -> Response:
    """One edition as it was typed, with its source and days."""
    return page.show("regulations/show.html", **_load(page, regulation_id))


@router.post("/{regulation_id}/ending")
def end_regulation(page: PageDep, regulation_id: RecordId, posted: Posted) -> Response:
    regulations.get_regulation(page.session, regulation_id)
    try:
        regulations.end(page.session, regulation_id, page.read(EndingForm, posted))
    except ShopError as error:
        return page.show_refused(error, "regulations/show.html", posted, lambda: _load(page, regulation_id), "end")
    return page.redirect(f"/regulations/{regulation_id}")
