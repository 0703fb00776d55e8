from typing import Any

from fastapi import Response

from app.errors import ShopError
from app.pages.admission import PageDep, PageRouter, Posted, QueryId
from app.pages.render import Page
from app.schemas.troubles import TroubleForm
from app.services import photos, systems, troubles

router = PageRouter(prefix="/troubles")


def _load_log(page: Page, values: dict[str, str]) -> dict[str, Any]:
    lines = troubles.list_lines(page.session)
    return {
        "lines": lines,
        "counts": troubles.count_by_cause(lines),
        "kinds": troubles.KINDS,
        "photos_of": photos.count_of_troubles(page.session),
        "systems": systems.list_systems(page.session),
        "values": values,
    }


@router.get("")
def show_log(page: PageDep, drilling_id: QueryId | None = None, system_id: QueryId | None = None) -> Response:
    """The service log, what it counts up to, and what may lie behind each trouble."""
    values = {"drilling_id": str(drilling_id or ""), "system_id": str(system_id or "")}
    return page.show("troubles.html", **_load_log(page, values))


@router.post("")
def add_line(page: PageDep, posted: Posted) -> Response:
    try:
        troubles.add(page.session, page.read(TroubleForm, posted))
    except ShopError as error:
        return page.show_refused(error, "troubles.html", posted, lambda: _load_log(page, posted))
    return page.redirect("/troubles")
