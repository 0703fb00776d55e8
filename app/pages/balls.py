from typing import Any

from fastapi import APIRouter, Response

from app.errors import ShopError
from app.measures.wording import exact
from app.models import Ball
from app.models.balls import USUAL_CIRCUMFERENCE_IN
from app.pages.admission import PageDep, PageRoute, Posted, RecordId
from app.pages.render import Page
from app.schemas.balls import BallForm, RetirementForm
from app.schemas.taken_back import TakingBackForm
from app.services import balls, bowlers, changes, drillings, measurements, owner_changes, taken_back

router = APIRouter(route_class=PageRoute)


def _load_form(page: Page, bowler_id: int, ball: Ball | None) -> dict[str, Any]:
    values = {"circumference": exact(USUAL_CIRCUMFERENCE_IN)}
    if ball:
        plain = {name: getattr(ball, name) for name in ("label", "serial", "colour", "condition")}
        values = plain | {"circumference": exact(ball.around_in)} | ball.typed
    return {
        "bowler": bowlers.get_bowler(page.session, bowler_id),
        "ball": ball,
        "values": values,
        "version": ball.version if ball else "",
    }


@router.get("/bowlers/{bowler_id}/balls/new")
def show_new_ball(page: PageDep, bowler_id: RecordId) -> Response:
    return page.show("balls/form.html", **_load_form(page, bowler_id, None))


@router.post("/bowlers/{bowler_id}/balls")
def add_ball(page: PageDep, bowler_id: RecordId, posted: Posted) -> Response:
    try:
        bowler = bowlers.get_bowler(page.session, bowler_id)
        added = balls.add(page.session, bowler, page.read(BallForm, posted))
    except ShopError as error:
        return page.show_refused(error, "balls/form.html", posted, lambda: _load_form(page, bowler_id, None))
    return page.redirect(f"/balls/{added.id}")


@router.get("/balls/{ball_id}")
def show_ball(page: PageDep, ball_id: RecordId) -> Response:
    return page.show("balls/show.html", "", 200, **_load_card(page, ball_id))


def _load_card(page: Page, ball_id: int) -> dict[str, object]:
    ball = balls.get_ball(page.session, ball_id)
    drilled = drillings.list_of_balls(page.session, [ball.id])
    is_in_use = not ball.retired_at and not ball.removed_at
    return {
        "ball": ball,
        "drillings": [(d, measurements.compare_built(d)) for d in drilled],
        "is_free": is_in_use and ball.id not in drillings.pick_in_force(drilled),
        "photos": balls.list_photos(page.session, ball.id),
        "owners": owner_changes.list_of_thing(page.session, ball),
        "history": changes.list_record_lines(page.session, ball),
        "version": ball.version,
    }


@router.get("/photos/{photo_id}")
def show_photo(page: PageDep, photo_id: RecordId) -> Response:
    found = balls.get_photo(page.session, photo_id)
    return Response(found.data, media_type=found.media_type, headers={"Cache-Control": "private, max-age=86400"})


@router.get("/balls/{ball_id}/edit")
def show_edit_form(page: PageDep, ball_id: RecordId) -> Response:
    ball = balls.get_ball(page.session, ball_id)
    return page.show("balls/form.html", **_load_form(page, ball.bowler_id, ball))


@router.post("/balls/{ball_id}")
def edit_ball(page: PageDep, ball_id: RecordId, posted: Posted) -> Response:
    try:
        balls.edit(page.session, ball_id, page.read(BallForm, posted))
    except ShopError as error:
        return page.show_refused(error, "balls/form.html", posted, lambda: _load_again(page, ball_id))
    return page.redirect(f"/balls/{ball_id}")


def _load_again(page: Page, ball_id: int) -> dict[str, Any]:
    ball = balls.get_ball(page.session, ball_id)
    return _load_form(page, ball.bowler_id, ball)


@router.post("/balls/{ball_id}/retirement")
def retire_ball(page: PageDep, ball_id: RecordId, posted: Posted) -> Response:
    balls.retire(page.session, ball_id, page.read(RetirementForm, posted))
    return page.redirect(f"/balls/{ball_id}")


@router.post("/balls/{ball_id}/removal")
def remove_ball(page: PageDep, ball_id: RecordId, posted: Posted) -> Response:
    return _take_back(page, ball_id, posted, "removal")


@router.post("/balls/{ball_id}/return")
def return_ball(page: PageDep, ball_id: RecordId, posted: Posted) -> Response:
    return _take_back(page, ball_id, posted, "return")


def _take_back(page: Page, ball_id: int, posted: dict[str, str], act: str) -> Response:
    take = taken_back.remove_ball if act == "removal" else taken_back.return_ball
    try:
        take(page.session, ball_id, page.read(TakingBackForm, posted))
    except ShopError as error:
        return page.show_refused(error, "balls/show.html", posted, lambda: _load_card(page, ball_id), act)
    return page.redirect(f"/balls/{ball_id}")
