from itertools import groupby

from fastapi import Response

from app.closed_sets import MOVEMENT_CAUSE_WORDS
from app.errors import ShopError
from app.models import Part, now
from app.pages.admission import PageDep, PageRouter, Posted, QueryId, RecordId
from app.pages.prints import answer_print, make_qr_code
from app.pages.render import Page, Shown
from app.schemas.parts import CountForm, DeliveryForm, PartForm, UndoingForm
from app.services import changes, part_uses, parts, shelf, systems

router = PageRouter()


@router.get("/shelf")
def show_shelf(page: PageDep) -> Response:
    """Every part with its count, what is low, and what the promised week needs."""
    week = part_uses.find_week(page.session, now())
    shelved = shelf.list_shelf(page.session, week.needs)
    return page.show(
        "parts/index.html",
        shelved=shelved,
        groups=[(label, list(own)) for label, own in groupby(shelved, lambda of: of.hardware)],
        lacking=[of for of in shelved if of.is_low or of.short or of.count < 0],
        week=week,
        retired=shelf.list_retired(page.session),
    )


def _load_form(page: Page, part: Part | None, values: dict[str, str] | None = None) -> Shown:
    values = values or {}
    if part:
        plain = ("kind", "system_id", "label", "lot", "colour", "cure_minutes")
        values = {name: str(getattr(part, name) or "") for name in plain} | part.typed
        values |= {"least": str(part.least or ""), "is_retired": "true" if part.retired_at else ""}
    hardware = systems.list_systems(page.session)
    return {"part": part, "values": values, "version": part.version if part else "", "systems": hardware}


@router.get("/shelf/new")
def show_new_part(page: PageDep, system_id: QueryId | None = None) -> Response:
    return page.show("parts/form.html", **_load_form(page, None, {"system_id": str(system_id or "")}))


@router.post("/parts")
def add_part(page: PageDep, posted: Posted) -> Response:
    try:
        added = parts.add(page.session, page.read(PartForm, posted))
    except ShopError as error:
        return page.show_refused(error, "parts/form.html", posted, lambda: _load_form(page, None))
    return page.redirect(f"/parts/{added.id}")


def _load_part(page: Page, part_id: int, undoing: int = 0) -> Shown:
    part = shelf.get_part(page.session, part_id)
    lines = shelf.list_movements(page.session, part)
    return {
        "part": part,
        "name": shelf.name_part(part),
        "count": shelf.count_part(page.session, part.id),
        "lines": lines,
        "undoing": next((line for line in lines if line.movement.id == undoing and line.may_be_undone), None),
        "others": [(other.id, shelf.name_part(other)) for other in shelf.list_others(page.session, part)],
        "cause_words": MOVEMENT_CAUSE_WORDS,
        "history": changes.list_record_lines(page.session, part),
        "version": part.version,
    }


@router.get("/parts/{part_id}")
def show_part(page: PageDep, part_id: RecordId, undo: QueryId | None = None) -> Response:
    """One part with its movements; `undo` asks about one of them."""
    return page.show("parts/show.html", **_load_part(page, part_id, undo or 0))


@router.get("/parts/{part_id}/edit")
def show_edit_form(page: PageDep, part_id: RecordId) -> Response:
    return page.show("parts/form.html", **_load_form(page, shelf.get_part(page.session, part_id)))


@router.post("/parts/{part_id}")
def edit_part(page: PageDep, part_id: RecordId, posted: Posted) -> Response:
    try:
        parts.edit(page.session, part_id, page.read(PartForm, posted))
    except ShopError as error:
        return page.show_refused(error, "parts/form.html", posted, lambda: _load_again(page, part_id))
    return page.redirect(f"/parts/{part_id}")


def _load_again(page: Page, part_id: int) -> Shown:
    return _load_form(page, shelf.get_part(page.session, part_id))


@router.post("/parts/{part_id}/deliveries")
def add_delivery(page: PageDep, part_id: RecordId, posted: Posted) -> Response:
    try:
        shelf.deliver(page.session, part_id, page.read(DeliveryForm, posted))
    except ShopError as error:
        return page.show_refused(error, "parts/show.html", posted, lambda: _load_part(page, part_id), "delivery")
    return page.redirect(f"/parts/{part_id}")


@router.post("/parts/{part_id}/counts")
def add_count(page: PageDep, part_id: RecordId, posted: Posted) -> Response:
    try:
        shelf.count(page.session, part_id, page.read(CountForm, posted))
    except ShopError as error:
        return page.show_refused(error, "parts/show.html", posted, lambda: _load_part(page, part_id), "count")
    return page.redirect(f"/parts/{part_id}")


@router.post("/movements/{movement_id}/undoing")
def undo_movement(page: PageDep, movement_id: RecordId, posted: Posted) -> Response:
    part_id = shelf.get_movement(page.session, movement_id).part_id
    try:
        shelf.undo(page.session, movement_id, page.read(UndoingForm, posted))
    except ShopError as error:
        shown = lambda: _load_part(page, part_id, movement_id)  # noqa: E731
        return page.show_refused(error, "parts/show.html", posted, shown, "undo")
    return page.redirect(f"/parts/{part_id}")


def _render_label(page: Page, part_id: int, is_pdf: bool) -> Response:
    part = shelf.get_part(page.session, part_id)
    code = make_qr_code(page, f"/parts/{part.id}")
    return answer_print(page, "prints/part.html", f"part-label-{part.id}", is_pdf, part=part, code=code)


@router.get("/parts/{part_id}/label")
def show_label(page: PageDep, part_id: RecordId) -> Response:
    return _render_label(page, part_id, is_pdf=False)


@router.get("/parts/{part_id}/label.pdf")
def download_label(page: PageDep, part_id: RecordId) -> Response:
    return _render_label(page, part_id, is_pdf=True)
