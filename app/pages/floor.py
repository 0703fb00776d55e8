"""How the shop runs its floor: minutes by kind of work, presses, follow-up, and its own words."""

from typing import Any

from fastapi import Response

from app.closed_sets import TICKET_KIND_WORDS
from app.errors import ShopError
from app.pages.admission import PageDep, PageRouter, Posted
from app.pages.render import Page
from app.schemas.floor import FloorForm
from app.services import floor

router = PageRouter()


def _load_floor(page: Page) -> dict[str, Any]:
    now = floor.get_floor(page.session)
    values = {f"minutes-{kind}": str(minutes) for kind, minutes in now.minutes.items()}
    for name in ("set_up_minutes", "presses", "follow_up_days", "usual_words", "care_words"):
        values[name] = str(getattr(now, name))
    return {
        "floor": now,
        "kinds": TICKET_KIND_WORDS,
        "values": values,
        "version": now.version,
        "history": floor.list_lines(page.session),
    }


@router.get("/floor")
def show_floor(page: PageDep) -> Response:
    return page.show("floor.html", **_load_floor(page))


@router.post("/floor")
def save_floor(page: PageDep, posted: Posted) -> Response:
    try:
        floor.save(page.session, page.read(FloorForm, posted))
    except ShopError as error:
        return page.show_refused(error, "floor.html", posted, lambda: _load_floor(page))
    return page.redirect("/floor")
