from typing import Any

from fastapi import Response

from app.errors import ShopError
from app.pages.admission import PageDep, PageRouter, Posted
from app.pages.render import Page
from app.schemas.studies import PARTS, PEOPLE, TRIALS, StudyForm
from app.services import studies

router = PageRouter(prefix="/studies")


def _load_studies(page: Page) -> dict[str, Any]:
    return {"cards": studies.list_cards(page.session), "people": PEOPLE, "trials": TRIALS, "part_count": PARTS}


@router.get("")
def show_studies(page: PageDep) -> Response:
    """Gauge studies, and a new one."""
    return page.show("studies.html", **_load_studies(page))


@router.post("")
def add_study(page: PageDep, posted: Posted) -> Response:
    try:
        studies.add(page.session, page.read(StudyForm, posted))
    except ShopError as error:
        return page.show_refused(error, "studies.html", posted, lambda: _load_studies(page))
    return page.redirect("/studies")
