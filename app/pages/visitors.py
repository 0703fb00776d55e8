from typing import Any

from fastapi import Response

from app.errors import ShopError
from app.pages.admission import PageDep, PageRouter, Posted, QueryId
from app.pages.render import Page
from app.schemas.forms import read_id
from app.schemas.inners import (
    VisitorForm,
)
from app.services import (
    bowlers,
    depths,
    shops,
    systems,
    visitors,
)

router = PageRouter()


def _load_visitor_form(page: Page, values: dict[str, str], bowler_id: int | None = None) -> dict[str, Any]:
    """Returns the choices of the visitor form, and the known depth of the picked shop and system."""
    session = page.session
    known_shops = shops.list_other_shops(session)
    context: dict[str, Any] = {
        "shops": known_shops,
        "systems": systems.list_systems(session, "thumb"),
        "depths": depths.load_shop_depths(session, [s.id for s in known_shops]),
        "bowler": None,
        "alike": [],
        "values": {"datum": "unknown"} | values,
    }
    if bowler_id:
        bowler = bowlers.get_bowler(session, bowler_id)
        home = bowler.home_shop_id
        context["bowler"] = bowler
        context["values"] |= {"hand": bowler.hand, "shop_id": str(home or "")} | values
    return context


@router.get("/visitors")
def show_visitor_form(page: PageDep, bowler_id: QueryId | None = None) -> Response:
    values = {name: value[:200] for name, value in page.request.query_params.items()}
    return page.show("visitors/form.html", **_load_visitor_form(page, values, bowler_id))


@router.get("/visitors/known-depth")
def show_known_depth(page: PageDep, shop_id: str = "", system_id: str = "") -> Response:
    """Shows the known depth of the picked shop while the form is filled in."""
    values = {"shop_id": shop_id, "system_id": system_id}
    return page.show("visitors/form.html", "known_depth", **(_load_visitor_form(page, {}) | {"values": values}))


@router.post("/visitors")
def take_in(page: PageDep, posted: Posted) -> Response:
    try:
        taken = visitors.take_in(page.session, page.read(VisitorForm, posted))
    except bowlers.LikelyDuplicateError as error:
        alike = {"alike": [row.bowler for row in error.rows]}
        return page.show_refused(
            error,
            "visitors/form.html",
            posted,
            lambda: _load_visitor_form(page, posted, _read_picked_bowler(posted)) | alike,
        )
    except ShopError as error:
        return page.show_refused(
            error, "visitors/form.html", posted, lambda: _load_visitor_form(page, posted, _read_picked_bowler(posted))
        )
    return page.redirect(f"/inners/{taken.id}")


def _read_picked_bowler(posted: dict[str, str]) -> int | None:
    """Returns the bowler picked in a refused form, or None."""
    return read_id(posted.get("bowler_id", ""))
