from collections.abc import Mapping
from typing import Any

from fastapi import Response

from app.errors import ShopError
from app.models import InsertSystem
from app.pages.admission import PageDep, PageRouter, Posted, RecordId
from app.pages.render import Page
from app.schemas.systems import RemovalForm, RouteForm, SystemForm
from app.services import changes, route_rows, routes, systems

router = PageRouter(prefix="/systems")


def _load_form(system: InsertSystem | None) -> dict[str, Any]:
    values = {"digit": "thumb", "notch": "6:00", "locks": "unknown"}
    if system:
        plain = {name: getattr(system, name) for name in ("label", "digit", "locks", "height_set_by", "notes")}
        values = plain | system.typed
    return {"system": system, "values": values, "version": system.version if system else ""}


@router.get("")
def list_systems(page: PageDep) -> Response:
    return page.show("systems/index.html", systems=systems.list_systems(page.session))


@router.get("/new")
def show_new_system(page: PageDep) -> Response:
    return page.show("systems/form.html", **_load_form(None))


@router.post("")
def add_system(page: PageDep, posted: Posted) -> Response:
    try:
        added = systems.add(page.session, page.read(SystemForm, posted))
    except ShopError as error:
        return page.show_refused(error, "systems/form.html", posted, lambda: _load_form(None))
    return page.redirect(f"/systems/{added.id}")


def _load_card(page: Page, system_id: int) -> dict[str, Any]:
    system = systems.get_system(page.session, system_id)
    return {"system": system, "history": changes.list_record_lines(page.session, system), "version": system.version}


@router.get("/{system_id}")
def show_system(page: PageDep, system_id: RecordId) -> Response:
    return page.show("systems/show.html", **_load_card(page, system_id))


@router.get("/{system_id}/edit")
def show_edit_form(page: PageDep, system_id: RecordId) -> Response:
    return page.show("systems/form.html", **_load_form(systems.get_system(page.session, system_id)))


@router.post("/{system_id}/removal")
def remove(page: PageDep, system_id: RecordId, posted: Posted) -> Response:
    try:
        systems.remove(page.session, system_id, page.read(RemovalForm, posted))
    except ShopError as error:
        return page.show_refused(error, "systems/show.html", posted, lambda: _load_card(page, system_id))
    return page.redirect("/systems")


def _load_route(page: Page, system_id: int, posted: Mapping[str, str] | None = None) -> dict[str, Any]:
    system = systems.get_system(page.session, system_id)
    own = routes.get_route(system)
    saved = {f"words-{action}": words for action, words in own}
    saved |= {f"place-{action}": str(10 * place) for place, (action, _) in enumerate(own, 1)}
    rows = route_rows.list_typed(posted) if posted else route_rows.list_rows(own)
    return {"system": system, "rows": rows, "version": system.version, "saved": saved, "moved": ""}


@router.get("/{system_id}/route")
def show_route_form(page: PageDep, system_id: RecordId) -> Response:
    return page.show("systems/route.html", **_load_route(page, system_id))


@router.post("/{system_id}/route")
def edit_route(page: PageDep, system_id: RecordId, posted: Posted) -> Response:
    asked = posted.get("move", "")
    if asked:  # an arrow was pressed: the form again with that step moved, and nothing saved
        made = _load_route(page, system_id, posted)
        made |= {"rows": route_rows.move(made["rows"], asked), "moved": asked, "version": posted.get("version", "")}
        return page.show("systems/route.html", who=posted.get("who", ""), **made)
    try:
        routes.edit(page.session, system_id, page.read(RouteForm, posted))
    except ShopError as error:
        return page.show_refused(error, "systems/route.html", posted, lambda: _load_route(page, system_id, posted))
    return page.redirect(f"/systems/{system_id}")


@router.post("/{system_id}")
def edit_system(page: PageDep, system_id: RecordId, posted: Posted) -> Response:
    try:
        systems.edit(page.session, system_id, page.read(SystemForm, posted))
    except ShopError as error:
        return page.show_refused(error, "systems/form.html", posted, lambda: _load_again(page, system_id))
    return page.redirect(f"/systems/{system_id}")


def _load_again(page: Page, system_id: int) -> dict[str, Any]:
    return _load_form(systems.get_system(page.session, system_id))
