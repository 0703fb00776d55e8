from typing import Any
from urllib.parse import urlencode

from fastapi import Response

from app.errors import ShopError
from app.pages.admission import PageDep, PageRouter, Posted, PostedPicture, QueryId
from app.pages.lanes import KEEPS_PHOTO
from app.pages.render import Page
from app.schemas.forms import SignedForm, read_id
from app.schemas.inners import VisitorForm
from app.services import depths, inners, shops, systems, visitor_sets

router = PageRouter(prefix="/visitors/set")


def _load_set(page: Page, values: dict[str, str], row_id: int | None) -> dict[str, Any]:
    known = shops.list_other_shops(page.session)
    rows, taken = visitor_sets.list_unfinished(page.session), visitor_sets.list_taken_today(page.session)
    others = [row for row in rows if row.id != row_id]
    return {
        "shops": known,
        "systems": systems.list_systems(page.session, "thumb"),
        "depths": depths.load_shop_depths(page.session, [s.id for s in known]),
        "rows": rows,
        "taken": taken,
        "sheet": visitor_sets.list_sheet(page.session, taken, others),
        "values": {"datum": "unknown"} | values,
        "row_id": row_id or "",
    }


@router.get("")
def show_set(page: PageDep, row: QueryId | None = None) -> Response:
    """Shows the fast entry: one row a ball, shop and hardware copied from the row before; `row` reopens a draft."""
    values = {name: value[:200] for name, value in page.request.query_params.items() if name in visitor_sets.CARRIED}
    chosen = next((r for r in visitor_sets.list_unfinished(page.session) if r.id == row), None)
    return page.show("visitors/set.html", **_load_set(page, dict(chosen.typed) if chosen else values, row))


@router.post("", name=KEEPS_PHOTO)
def take_in(page: PageDep, photo: PostedPicture, posted: Posted) -> Response:
    row_id = read_id(posted.get("row_id", ""))
    try:
        taken = visitor_sets.take_in(page.session, page.read(VisitorForm, posted), row_id, photo)
    except ShopError as error:
        return page.show_refused(error, "visitors/set.html", posted, lambda: _keep_row(page, posted, row_id))
    carried = {name: posted[name] for name in visitor_sets.CARRIED if posted.get(name)}
    carried["shop_id"] = str(inners.get_inner(page.session, taken.id).trimmed_in.shop_id)  # a shop just added, too
    return page.redirect(f"/visitors/set?{urlencode(carried)}")


def _keep_row(page: Page, posted: dict[str, str], row_id: int | None) -> dict[str, Any]:
    """Stores the refused row as a draft, if a person of this shop signed it, and returns the page's context."""
    try:
        who = page.read(SignedForm, {"who": posted.get("who", "")}).who
        row_id = visitor_sets.keep_row(page.session, who, posted, row_id).id
    except ShopError:
        pass
    return _load_set(page, posted, row_id)
