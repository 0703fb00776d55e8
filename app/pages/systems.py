from typing import Any

from fastapi import APIRouter, Response

from app.errors import ShopError
from app.models import InsertSystem
from app.pages.admission import PageDep, PageRoute, Posted, RecordId
from app.pages.render import Page
from app.schemas.systems import RemovalForm, RouteForm, SystemForm
from app.services import changes, routes, systems

router = APIRouter(prefix="/systems", route_class=PageRoute)


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
    return page.go(f"/systems/{added.id}")


def _card(page: Page, system_id: int) -> dict[str, Any]:
    system = systems.system(page.session, system_id)
    return {"system": system, "history": changes.of_record(page.session, system), "version": system.version}


@router.get("/{system_id}")
def card(page: PageDep, system_id: RecordId) -> Response:
    return page.show("systems/show.html", **_card(page, system_id))


@router.get("/{system_id}/edit")
def edit_form(page: PageDep, system_id: RecordId) -> Response:
    return page.show("systems/form.html", **_form(systems.system(page.session, system_id)))


@router.post("/{system_id}/removal")
def remove(page: PageDep, system_id: RecordId, posted: Posted) -> Response:
    try:
        systems.remove(page.session, system_id, page.read(RemovalForm, posted))
    except ShopError as error:
        return page.again(error, "systems/show.html", posted, lambda: _card(page, system_id))
    return page.go("/systems")


def _route(page: Page, system_id: int) -> dict[str, Any]:
    system = systems.system(page.session, system_id)
    own = routes.route_of(system)
    left_out = [a for a in routes.ACTIONS if a not in dict(own)]
    saved = {f"words-{action}": words for action, words in own}
    saved |= {f"place-{action}": str(10 * place) for place, (action, _) in enumerate(own, 1)}
    known = {"system": system, "route": own, "left_out": left_out, "actions": routes.ACTIONS}
    return known | {"version": system.version, "saved": saved}


@router.get("/{system_id}/route")
def route_form(page: PageDep, system_id: RecordId) -> Response:
    return page.show("systems/route.html", **_route(page, system_id))


@router.post("/{system_id}/route")
def edit_route(page: PageDep, system_id: RecordId, posted: Posted) -> Response:
    try:
        routes.edit(page.session, system_id, page.read(RouteForm, posted))
    except ShopError as error:
        return page.again(error, "systems/route.html", posted, lambda: _route(page, system_id))
    return page.go(f"/systems/{system_id}")


@router.post("/{system_id}")
def edit(page: PageDep, system_id: RecordId, posted: Posted) -> Response:
    try:
        systems.edit(page.session, system_id, page.read(SystemForm, posted))
    except ShopError as error:
        return page.again(error, "systems/form.html", posted, lambda: _again(page, system_id))
    return page.go(f"/systems/{system_id}")


def _again(page: Page, system_id: int) -> dict[str, Any]:
    return _form(systems.system(page.session, system_id))
