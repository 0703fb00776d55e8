"""The page of the design: every component as pages use it, in both schemes."""

from fastapi import APIRouter, Response

from app.pages.admission import PageDep, PageRoute

router = APIRouter(route_class=PageRoute)


@router.get("/design")
def show_design(page: PageDep) -> Response:
    return page.show("design.html")
