"""The list of a shop's first day, which an owner can put away."""

from fastapi import Response

from app.pages.admission import PageDep, PageRouter, Posted
from app.schemas.forms import SignedForm
from app.services import first_day

router = PageRouter()


@router.post("/first-day/putting-away")
def put_away(page: PageDep, posted: Posted) -> Response:
    first_day.put_away(page.session, page.read(SignedForm, posted))
    return page.redirect("/")
