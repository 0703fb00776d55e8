from fastapi import Response

from app.errors import ShopError
from app.pages.admission import PageDep, PageRouter, Posted, RecordId
from app.pages.render import Page, Shown
from app.schemas.layouts import AxisPointForm
from app.schemas.taken_back import TakingBackForm
from app.services import axis_points, bowlers

router = PageRouter()


def _load(page: Page, bowler_id: int) -> Shown:
    bowler = bowlers.get_bowler(page.session, bowler_id)
    points = axis_points.list_of_bowler(page.session, bowler.id)
    current = {hand: next((p.id for p in points if p.hand == hand and not p.taken_back_at), 0) for hand in _HANDS}
    return {
        "bowler": bowler,
        "points": points,
        "current": set(current.values()),
        "uses": axis_points.list_uses(page.session, points),
        "values": {"hand": bowler.hand},
    }


_HANDS = ("right", "left")


@router.get("/bowlers/{bowler_id}/axis-points")
def show_axis_points(page: PageDep, bowler_id: RecordId) -> Response:
    """Every axis point of a bowler, and the form of a new one."""
    return page.show("bowlers/axis_points.html", **_load(page, bowler_id))


@router.post("/bowlers/{bowler_id}/axis-points")
def add_axis_point(page: PageDep, bowler_id: RecordId, posted: Posted) -> Response:
    bowler = bowlers.get_bowler(page.session, bowler_id)
    try:
        axis_points.add(page.session, bowler, page.read(AxisPointForm, posted))
    except ShopError as error:
        return page.show_refused(error, "bowlers/axis_points.html", posted, lambda: _load(page, bowler_id))
    return page.redirect(f"/bowlers/{bowler.id}/axis-points")


@router.post("/axis-points/{axis_point_id}/taking-back")
def take_back(page: PageDep, axis_point_id: RecordId, posted: Posted) -> Response:
    owner = axis_points.get_axis_point(page.session, axis_point_id).bowler_id
    try:
        axis_points.take_back(page.session, axis_point_id, page.read(TakingBackForm, posted))
    except ShopError as error:
        shown = f"back-{axis_point_id}"
        return page.show_refused(error, "bowlers/axis_points.html", posted, lambda: _load(page, owner), shown)
    return page.redirect(f"/bowlers/{owner}/axis-points")
