from typing import Any

from fastapi import Response

from app.errors import ShopError
from app.pages.admission import PageDep, PageRouter, Posted
from app.pages.render import Page
from app.schemas.shops import LimitForm
from app.services import changes, limit_groups, shop_limits, shops

router = PageRouter()


def _load_limits(page: Page) -> dict[str, Any]:
    own = shops.require_our_shop(page.session)
    limits = shop_limits.load_limits(page.session)
    return {
        "limits": limits,
        "groups": limit_groups.group_limits(limits),
        "rates": shop_limits.list_rates(limits),
        "history": changes.list_record_lines(page.session, own),
    }


@router.get("/settings")
def show_limits(page: PageDep) -> Response:
    return page.show("limits.html", **_load_limits(page))


def _load_saved_limit(page: Page, name: str) -> dict[str, Any]:
    found = shop_limits.load_limits(page.session).get(name)
    return {
        "prefix": f"{name}-",
        "saved": {"value": found.typed, "source": found.source} if found else {},
    }


@router.post("/settings/{name}")
def set_limit(page: PageDep, name: str, posted: Posted) -> Response:
    try:
        quantity = shop_limits.get_limit(name).quantity
        shop_limits.set_limit(page.session, name, page.read(LimitForm, {**posted, "quantity": quantity}))
    except ShopError as error:
        return page.show_refused(
            error, "limits.html", posted, lambda: _load_limits(page) | _load_saved_limit(page, name), name
        )
    return page.redirect("/settings")
