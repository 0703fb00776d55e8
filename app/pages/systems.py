from typing import Any

from fastapi import APIRouter, Response

from app.errors import ShopError
from app.models import InsertSystem
from app.pages.render import Page, PageDep, Posted, RecordId
from app.schemas.systems import SystemForm
from app.services import changes, systems

router = APIRouter(prefix="/systems")


def _form(system: InsertSystem | None) -> dict[str, Any]:
    values = {"digit": "thumb", "notch": "6:00", "locks": "unknown"}
    if system:
        plain = {name: getattr(system, name) for name in ("label", "digit", "locks", "height_set_by", "notes")}
        values = plain | system.typed
    return {"system": system, "values": values, "version": system.version if system else ""}


@router.get("")
def index(page: PageDep) -> Response:
    return page.show("systems/index.html", systems=systems.systems(page.session))


@router.get("/new")
def new(page: PageDep) -> Response:
    return page.show("systems/form.html", **_form(None))


@router.post("")
def add(page: PageDep, posted: Posted) -> Response:
    try:
        added = systems.add(page.session, page.read(SystemForm, posted))
    except ShopError as error:
        return page.again(error, "systems/form.html", posted, lambda: _form(None))
    return page.go(f"/systems/{added.id}", posted)


@router.get("/{system_id}")
def card(page: PageDep, system_id: RecordId) -> Response:
    system = systems.system(page.session, system_id)
    return page.show("systems/show.html", system=system, history=changes.of_record(page.session, system))


@router.get("/{system_id}/edit")
def edit_form(page: PageDep, system_id: RecordId) -> Response:
    return page.show("systems/form.html", **_form(systems.system(page.session, system_id)))


@router.post("/{system_id}")
def edit(page: PageDep, system_id: RecordId, posted: Posted) -> Response:
    try:
        systems.edit(page.session, system_id, page.read(SystemForm, posted))
    except ShopError as error:
        return page.again(error, "systems/form.html", posted, lambda: _again(page, system_id))
    return page.go(f"/systems/{system_id}", posted)


def _again(page: Page, system_id: int) -> dict[str, Any]:
    return _form(systems.system(page.session, system_id))
