"""Pages that give a ball or an inner to another bowler, and take that back."""

from collections.abc import Callable

from fastapi import Response

from app.errors import InvalidError, ShopError
from app.pages.admission import PageDep, PageRouter, Posted, QueryId, RecordId
from app.pages.render import Page
from app.schemas.forms import read_id
from app.schemas.taken_back import OwnerForm, TakingBackForm
from app.services import balls, bowlers, inners, owner_changes
from app.services.owner_changes import Thing

router = PageRouter()


def _load_form(page: Page, moved: Thing, to_id: int | None, q: str = "") -> dict[str, object]:
    """The bowler it may go to is looked up by a form of its own, whose answers lead back here."""
    to, problem = None, None
    try:
        to = owner_changes.find_new_owner(page.session, moved, to_id) if to_id else None
    except InvalidError as error:
        problem = error.fields["to_id"]
    kind = moved.__tablename__
    return {
        "moved": moved,
        "kind": kind,
        "address": f"/{kind}s/{moved.id}",
        "to": to,
        "q": q,
        "found": [r for r in bowlers.search(page.session, q) if r.bowler.id != moved.bowler_id] if q.strip() else [],
        "errors": {"to_id": problem} if problem else {},
        "values": {"to_id": str(to_id or ""), "why": page.request.query_params.get("why", "")[:400]},
        "version": moved.version,
    }


def _show(page: Page, moved: Thing, to: int | None, q: str) -> Response:
    return page.show("balls/owner.html", "", 200, **_load_form(page, moved, to, q[:80]))


@router.get("/balls/{ball_id}/owner")
def show_ball_form(page: PageDep, ball_id: RecordId, to: QueryId | None = None, q: str = "") -> Response:
    return _show(page, balls.get_ball(page.session, ball_id), to, q)


@router.get("/inners/{inner_id}/owner")
def show_inner_form(page: PageDep, inner_id: RecordId, to: QueryId | None = None, q: str = "") -> Response:
    return _show(page, inners.get_inner(page.session, inner_id), to, q)


def _move(page: Page, posted: dict[str, str], act: Callable[[OwnerForm], Thing], get: Callable[[], Thing]) -> Response:
    try:
        moved = act(page.read(OwnerForm, posted))
    except ShopError as error:
        to_id = read_id(posted.get("to_id", ""))
        return page.show_refused(error, "balls/owner.html", posted, lambda: _load_form(page, get(), to_id))
    return page.redirect(f"/{moved.__tablename__}s/{moved.id}")


@router.post("/balls/{ball_id}/owner")
def move_ball(page: PageDep, ball_id: RecordId, posted: Posted) -> Response:
    session = page.session
    return _move(
        page,
        posted,
        lambda form: owner_changes.move_ball(session, ball_id, form),
        lambda: balls.get_ball(session, ball_id),
    )


@router.post("/inners/{inner_id}/owner")
def move_inner(page: PageDep, inner_id: RecordId, posted: Posted) -> Response:
    session = page.session
    return _move(
        page,
        posted,
        lambda form: owner_changes.move_inner(session, inner_id, form),
        lambda: inners.get_inner(session, inner_id),
    )


def _load_undoing(page: Page, change_id: int) -> dict[str, object]:
    change = owner_changes.get_change(page.session, change_id)
    moved = owner_changes.get_thing(page.session, change)
    return {"change": change, "moved": moved, "kind": moved.__tablename__, "version": moved.version}


@router.get("/owner-changes/{change_id}/undoing")
def show_undoing(page: PageDep, change_id: RecordId) -> Response:
    return page.show("balls/owner_undoing.html", "", 200, **_load_undoing(page, change_id))


@router.post("/owner-changes/{change_id}/undoing")
def undo(page: PageDep, change_id: RecordId, posted: Posted) -> Response:
    try:
        change = owner_changes.undo(page.session, change_id, page.read(TakingBackForm, posted))
    except ShopError as error:
        return page.show_refused(error, "balls/owner_undoing.html", posted, lambda: _load_undoing(page, change_id))
    return page.redirect(f"/balls/{change.ball_id}" if change.ball_id else f"/inners/{change.inner_id}")
