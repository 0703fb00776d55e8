from typing import Any

from fastapi import APIRouter, Response

from app.errors import ShopError
from app.pages.admission import PageDep, PageRoute, Posted
from app.pages.render import Page
from app.schemas.studies import PARTS, PEOPLE, TRIALS, StudyForm
from app.services import studies

router = APIRouter(prefix="/studies", route_class=PageRoute)


def _index(page: Page) -> dict[str, Any]:
    return {"cards": studies.cards(page.session), "people": PEOPLE, "trials": TRIALS, "parts": PARTS}


@router.get("")
def index(page: PageDep) -> Response:
    """Gauge studies, and a new one."""
    return page.show("studies.html", **_index(page))


@router.post("")
def add(page: PageDep, posted: Posted) -> Response:
    try:
        studies.add(page.session, page.read(StudyForm, posted))
    except ShopError as error:
        return page.again(error, "studies.html", posted, lambda: _index(page))
    return page.go("/studies")
