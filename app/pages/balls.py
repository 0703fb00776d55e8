import math
from collections.abc import Sequence
from fractions import Fraction
from typing import Any

from fastapi import Response

from app.calculation.old_holes import ON_MARK
from app.errors import ShopError
from app.measures.wording import exact
from app.models import Ball, OldHole, now
from app.models.balls import USUAL_CIRCUMFERENCE_IN
from app.pages import pictures, ticket_views
from app.pages.admission import PageDep, PageRouter, Posted, RecordId
from app.pages.photos import load_photos
from app.pages.render import Page
from app.schemas.balls import BallForm, RetirementForm
from app.schemas.old_holes import OldHoleForm
from app.schemas.taken_back import TakingBackForm
from app.services import (
    balls,
    bowlers,
    changes,
    drillings,
    measurements,
    old_holes,
    owner_changes,
    taken_back,
    ticket_reads,
)

router = PageRouter()


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
    holes = old_holes.list_of_ball(page.session, ball.id)
    is_in_use = not ball.retired_at and not ball.removed_at
    in_force = drillings.pick_in_force(drilled).get(ball.id)
    tapped = ticket_views.pair_taps(page, ticket_reads.list_of_thing(page.session, ball))
    return {
        "at": now(),
        "tickets": [ticket_views.carry_scan(each, f"/balls/{ball.id}") for each in tapped],
        "ball": ball,
        "old_holes": holes,
        "old_picture": _draw_old_holes(ball, holes),
        "drillings": [(d, measurements.compare_built(d)) for d in drilled],
        "in_force": in_force,
        "is_free": is_in_use and in_force is None,
        "shown": load_photos(page, ball),
        "owners": owner_changes.list_of_thing(page.session, ball),
        "history": changes.list_record_lines(page.session, ball),
        "version": ball.version,
    }


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


def _load_again(page: Page, ball_id: int) -> dict[str, object]:
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


# Old holes ------------------------------------------------------------------------------------------------------------


def _draw_old_holes(ball: Ball, holes: Sequence[OldHole]) -> pictures.GripPicture:
    radius_in = float(ball.around_in) / 2 / math.pi
    return pictures.draw_old_holes(old_holes.freeze(holes, ON_MARK, radius_in), radius_in)


# What the drawing shows before the first hole is recorded.
_EXAMPLE = OldHole(
    id=0, digit="finger", label="for example", along_in=Fraction(5, 2), across_in=Fraction(7, 4), cut_in=Fraction(1),
    forward_in=Fraction(0), right_in=Fraction(0), depth_in=Fraction(1), state="filled", filling="",
)  # fmt: skip


def _load_old_hole(page: Page, ball: Ball, hole: OldHole | None) -> dict[str, Any]:
    known = [other for other in old_holes.list_of_ball(page.session, ball.id) if hole is None or other.id != hole.id]
    values = old_holes.list_texts(hole) if hole else {"hole": "finger", "state": "filled"}
    return {
        "ball": ball,
        "hole": hole,
        "picture": _draw_old_holes(ball, known + ([hole] if hole else []) or [_EXAMPLE]),
        "known": known,
        "values": values,
        "version": hole.version if hole else "",
        "history": changes.list_record_lines(page.session, hole) if hole else [],
    }


@router.get("/balls/{ball_id}/old-holes/new")
def show_new_old_hole(page: PageDep, ball_id: RecordId) -> Response:
    return page.show("balls/old_hole.html", **_load_old_hole(page, balls.get_ball(page.session, ball_id), None))


@router.post("/balls/{ball_id}/old-holes")
def add_old_hole(page: PageDep, ball_id: RecordId, posted: Posted) -> Response:
    try:
        old_holes.add(page.session, balls.get_ball(page.session, ball_id), page.read(OldHoleForm, posted))
    except ShopError as error:
        return page.show_refused(
            error,
            "balls/old_hole.html",
            posted,
            lambda: _load_old_hole(page, balls.get_ball(page.session, ball_id), None),
        )
    return page.redirect(f"/balls/{ball_id}#old-holes")


@router.get("/old-holes/{old_hole_id}/edit")
def show_old_hole(page: PageDep, old_hole_id: RecordId) -> Response:
    hole = old_holes.get_old_hole(page.session, old_hole_id)
    return page.show("balls/old_hole.html", **_load_old_hole(page, hole.ball, hole))


@router.post("/old-holes/{old_hole_id}")
def edit_old_hole(page: PageDep, old_hole_id: RecordId, posted: Posted) -> Response:
    def load() -> dict[str, object]:
        hole = old_holes.get_old_hole(page.session, old_hole_id)
        return _load_old_hole(page, hole.ball, hole)

    try:
        edited = old_holes.edit(page.session, old_hole_id, page.read(OldHoleForm, posted))
    except ShopError as error:
        return page.show_refused(error, "balls/old_hole.html", posted, load)
    return page.redirect(f"/balls/{edited.ball_id}#old-holes")
