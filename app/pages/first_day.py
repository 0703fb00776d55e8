"""The list of a shop's first day, which an owner can put away."""

from fastapi import APIRouter, Response

from app.pages.admission import PageDep, PageRoute, Posted
from app.schemas.forms import SignedForm
from app.services import first_day

router = APIRouter(route_class=PageRoute)


@router.post("/first-day/putting-away")
def put_away(page: PageDep, posted: Posted) -> Response:
    first_day.put_away(page.session, page.read(SignedForm, posted))
    return page.redirect("/")
