from collections.abc import Collection, Sequence
from typing import Any

from fastapi import Response
from sqlalchemy.orm import Session

from app.errors import ShopError
from app.models import Ball, Bowler, Drilling, Fit, Inner, now
from app.pages import charts, pictures, ticket_views
from app.pages.admission import PageDep, PageRouter, Posted, RecordId, asks_first
from app.pages.render import Page
from app.prepared import AnyAsked, AnyRow
from app.schemas.bowlers import BowlerForm
from app.schemas.taken_back import TakingBackForm
from app.services import (
    balls,
    bowlers,
    changes,
    depths,
    drillings,
    fits,
    grips,
    inner_grids,
    inners,
    inners_in_bores,
    measurements,
    mergers,
    owner_changes,
    shop_limits,
    shops,
    taken_back,
    ticket_reads,
    timelines,
)
from app.services.bowlers import LikelyDuplicateError
from app.services.inners_in_bores import InnerInBore
from app.services.known_depths import ShopDepth
from app.services.measurements import SpanComparison
from app.services.unsettled import Unsettled

_FEW, _MANY = 2, 4  # balls that stand open on a bowler's page: few where each tells how many inners sit in it
router = PageRouter(prefix="/bowlers")

LAST_DRILLINGS = 10


def _load_form(page: Page, bowler: Bowler | None) -> dict[str, Any]:
    values: dict[str, str] = {}
    if bowler:
        values = {
            "name": bowler.name,
            "phone": bowler.phone,
            "hand": bowler.hand,
            "home_shop_id": str(bowler.home_shop_id or ""),
            "league": bowler.league,
            "notes": bowler.notes,
            "is_minor": "true" if bowler.is_minor else "",
            "guardian": bowler.guardian,
            "consent": bowler.consent,
        }
    return {
        "bowler": bowler,
        "values": values,
        "saved": values,
        "version": bowler.version if bowler else "",
        "shops": shops.list_shops(page.session),
        "alike": [],
    }


@router.get("/new")
def show_new_bowler(page: PageDep, name: str = "") -> Response:
    context = _load_form(page, None)
    home = shops.require_our_shop(page.session).id
    digits = name if name.strip("0123456789 +-()/") == "" else ""
    context["values"] |= {"name": "" if digits else name, "phone": digits, "home_shop_id": str(home)}
    return page.show("bowlers/form.html", **context)


@router.post("")
def add_bowler(page: PageDep, posted: Posted) -> Response:
    try:
        added = bowlers.register(page.session, page.read(BowlerForm, posted))
    except LikelyDuplicateError as error:
        alike = {"alike": error.rows}
        return page.show_refused(error, "bowlers/form.html", posted, lambda: _load_form(page, None) | alike)
    except ShopError as error:
        return page.show_refused(error, "bowlers/form.html", posted, lambda: _load_form(page, None))
    return page.redirect(f"/bowlers/{added.id}")


def _ask_record(_page: Page, bowler_id: int) -> tuple[AnyAsked, ...]:
    return bowlers.ask_record(bowler_id), balls.ask_of_bowler(bowler_id), changes.ask_bowler_lines(bowler_id)


@router.get("/{bowler_id}")
@asks_first(_ask_record)
def show_record(page: PageDep, bowler_id: RecordId) -> Response:
    """The bowler's record: fit in force as picture and numbers, balls, inners and how they sit, history.

    The address of a merged record leads to the one that it is part of.
    """
    record, owned, lines = (asked.rows for asked in page.asked_first)
    loaded = _load_record(page.session, bowlers.read_record(record), balls.read_of_bowler(owned), lines)
    open_tickets = ticket_reads.list_of_bowler(page.session, bowler_id) if loaded["bowler"].has_tickets else []
    told = sum(len(loaded["sits"].get(ball.id, ())) for ball, *_ in loaded["balls"][_FEW:_MANY])
    loaded |= {
        "tickets": ticket_views.pair_taps(page, open_tickets),
        "at": now(),
        "shown": _FEW if told > _FEW else _MANY,
    }
    part_of = loaded["bowler"].merged_into_id
    return page.redirect(f"/bowlers/{part_of}") if part_of else page.show("bowlers/show.html", **loaded)


def _load_record(session: Session, bowler: AnyRow, owned: Sequence[Ball], lines: changes.Lines) -> dict[str, Any]:
    drilled = drillings.list_of_balls(session, [b.id for b in owned]) if bowler.has_drillings else []
    pieces = inners.list_of_bowler(session, bowler.id) if bowler.has_inners else []
    known = depths.load_shop_depths(session, {i.trimmed_in.shop_id for i in pieces} | {d.shop_id for d in drilled})
    in_force = drillings.pick_in_force(drilled)
    latest = sorted(drilled, key=lambda d: d.id)[-LAST_DRILLINGS:]
    measured = {d.id: measurements.compare_built(d) for d in {*in_force.values(), *latest}}
    revisions = fits.list_of_bowler(session, bowler.id) if bowler.has_fits else []
    current = [f for f in revisions if f.state == "in force"]
    moves = owner_changes.list_of_bowler(session, bowler.id) if bowler.has_owner_changes else []
    troubles = timelines.list_troubles(session, bowler.id) if bowler.has_troubles else []
    of_balls = {b.id: [d for d in drilled if d.ball_id == b.id] for b in owned}
    in_order = sorted(owned, key=lambda b: (b.retired_at is not None, -b.id))
    return {
        "bowler": bowler,
        "revisions": revisions,
        "current": [(f, _draw_grip(f)) for f in current],
        "measured_at": fits.find_measured_at(current[0], revisions) if current else None,
        "balls": [(b, in_force.get(b.id), of_balls[b.id]) for b in in_order],
        "under_way": [(b, d) for b in owned if (d := in_force.get(b.id)) and d.state in ("planned", "drilled")],
        "to_drill": [b for b in owned if b.id not in in_force and not b.retired_at],
        "removed_balls": balls.list_removed(session, bowler.id) if bowler.has_removed_balls else [],
        "measured": measured,
        "trend": charts.draw_trend(_draw_trend(owned, drilled, measured)),
        "inners": pieces,
        "sits": _sort_by_ball(session, pieces, in_force.values(), owned, known) if pieces else {},
        "newest": {f.hand: f.letter for f in current},
        "mergers": mergers.list_open(session, bowler.id) if bowler.has_merged else [],
        "owner_changes": moves,
        "events": timelines.list_events(
            revisions,
            [(b, d) for b in owned for d in of_balls[b.id]],
            measured,
            pieces,
            [*troubles, *timelines.tell_owner_changes(moves, bowler.id)],
        ),
        "history": _list_merged_history(session, bowler.id) if bowler.has_merged else lines,
    }


Sit = tuple[Inner, Drilling, InnerInBore | Unsettled | str, charts.RimPicture | None]


def _sort_by_ball(
    session: Session,
    pieces: Sequence[Inner],
    drilled: Collection[Drilling],
    owned: Sequence[Ball],
    known: dict[tuple[int, int], ShopDepth],
) -> dict[int, list[Sit]]:
    """How each inner sits and a picture of its rim, by the ball that it sits in."""
    limits = shop_limits.load_limits(session)
    by_ball: dict[int, list[Sit]] = {}
    for inner in pieces:
        for ball, drilling, how in inners_in_bores.list_in_balls(inner, drilled, owned, known, limits):
            rim = charts.draw_sitting(inner, how, limits) if isinstance(how, InnerInBore) else None
            by_ball.setdefault(ball.id, []).append((inner, drilling, how, rim))
    return by_ball


def _list_merged_history(session: Session, bowler_id: int) -> changes.Lines:
    return changes.list_lines_of_merged(session, mergers.list_ids(session, bowler_id))


def _draw_trend(
    owned: Sequence[Ball], drilled: Sequence[Drilling], measured: dict[int, SpanComparison | None]
) -> list[tuple[str, SpanComparison, float]]:
    """(ball, measured, tolerance) of the last drillings that were measured, oldest first."""
    labels = {b.id: b.label for b in owned}
    return [
        (labels[d.ball_id], result, float(d.tolerance_in))
        for d in sorted(drilled, key=lambda d: d.id)
        if (result := measured.get(d.id))
    ]


def _draw_grip(fit: Fit) -> pictures.GripPicture | None:
    notch = fit.system.notch_deg if fit.system else None
    return pictures.draw_grip(grips.solve(fit, fit.system), notch) if grips.can_solve(fit) else None


@router.get("/{bowler_id}/sits")
def show_inner_grid(page: PageDep, bowler_id: RecordId) -> Response:
    """Every inner in every ball."""
    return page.show("bowlers/inner_grid.html", grid=inner_grids.build_grid(page.session, bowler_id))


@router.get("/{bowler_id}/edit")
def show_edit_form(page: PageDep, bowler_id: RecordId) -> Response:
    return page.show("bowlers/form.html", **_load_form(page, bowlers.get_bowler(page.session, bowler_id)))


@router.post("/{bowler_id}")
def edit_bowler(page: PageDep, bowler_id: RecordId, posted: Posted) -> Response:
    try:
        bowlers.edit(page.session, bowler_id, page.read(BowlerForm, posted))
    except ShopError as error:
        return page.show_refused(
            error, "bowlers/form.html", posted, lambda: _load_form(page, bowlers.get_bowler(page.session, bowler_id))
        )
    return page.redirect(f"/bowlers/{bowler_id}")


@router.post("/{bowler_id}/removal")
def remove_bowler(page: PageDep, bowler_id: RecordId, posted: Posted) -> Response:
    return _take_back(page, bowler_id, posted, "removal")


@router.post("/{bowler_id}/return")
def return_bowler(page: PageDep, bowler_id: RecordId, posted: Posted) -> Response:
    return _take_back(page, bowler_id, posted, "return")


def _take_back(page: Page, bowler_id: int, posted: dict[str, str], act: str) -> Response:
    take = taken_back.remove_bowler if act == "removal" else taken_back.return_bowler
    try:
        take(page.session, bowler_id, page.read(TakingBackForm, posted))
    except ShopError as error:
        bowler = bowlers.get_bowler(page.session, bowler_id)
        return page.show_refused(error, "bowlers/form.html", posted, lambda: _load_form(page, bowler), act)
    return page.redirect(f"/bowlers/{bowler_id}")
