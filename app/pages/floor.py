"""How the shop runs its floor: minutes by kind of work, presses, follow-up, and its own words."""

from dataclasses import dataclass

from fastapi import Response

from app.errors import ShopError
from app.pages.admission import PageDep, PageRouter, Posted
from app.pages.render import Page
from app.schemas.floor import FloorForm
from app.services import changes, floor
from app.services.floor import FloorNow

router = PageRouter()


@dataclass(frozen=True)
class FloorView:
    """What the page shows: the numbers that count now, as its form holds them."""

    floor: FloorNow
    values: dict[str, str]
    version: int
    history: changes.Lines


def _load_floor(page: Page) -> FloorView:
    now = floor.get_floor(page.session)
    values = {f"minutes-{kind}": str(minutes) for kind, minutes in now.minutes.items()}
    for name in ("set_up_minutes", "presses", "follow_up_days", "usual_words", "care_words"):
        values[name] = str(getattr(now, name))
    return FloorView(now, values, now.version, floor.list_lines(page.session))


@router.get("/floor")
def show_floor(page: PageDep) -> Response:
    return page.show("floor.html", **vars(_load_floor(page)))


@router.post("/floor")
def save_floor(page: PageDep, posted: Posted) -> Response:
    try:
        floor.save(page.session, page.read(FloorForm, posted))
    except ShopError as error:
        return page.show_refused(error, "floor.html", posted, lambda: vars(_load_floor(page)))
    return page.redirect("/floor")
