"""Squads: who plays in which, their balls, and these on paper for the day on which the power fails."""

from collections.abc import Sequence

from fastapi import Response

from app.errors import ShopError
from app.models import Squad, now
from app.pages import ticket_views
from app.pages.admission import PageDep, PageRouter, Posted, RecordId
from app.pages.prints import answer_print
from app.pages.render import Page
from app.schemas.tickets import SquadForm
from app.services import changes, squads, ticket_reads
from app.services.ticket_stages import ShownTicket

router = PageRouter(prefix="/squads")


def _load_list(page: Page) -> dict[str, object]:
    shop_id = page.me().shop_id
    return {
        "coming": squads.list_squads(page.session, shop_id),
        "past": squads.list_past(page.session, shop_id),
        "values": {},
    }


@router.get("")
def show_squads(page: PageDep) -> Response:
    return page.show("squads/list.html", "", 200, **_load_list(page))


@router.post("")
def add_squad(page: PageDep, posted: Posted) -> Response:
    try:
        added = squads.add(page.session, page.read(SquadForm, posted))
    except ShopError as error:
        return page.show_refused(error, "squads/list.html", posted, lambda: _load_list(page))
    return page.redirect(f"/squads/{added.id}")


def _load_squad(page: Page, squad_id: int) -> dict[str, object]:
    of = squads.get_squad(page.session, squad_id)
    shown = ticket_reads.list_of_squad(page.session, squad_id)
    return {
        "squad": of,
        "at": now(),
        "tapped": ticket_views.pair_taps(page, shown),
        "checked": [ticket for ticket in shown if ticket.is_checked],
        "mixed_up": [ticket for ticket in shown if ticket.is_mixed_up],
        "without_serial": [ticket for ticket in shown if ticket.ball_id and not ticket.serial],
        "balls": {ticket.ball_id: ticket for ticket in _sort_by_owner(shown) if ticket.ball_id}.values(),
        "values": _read_saved(of),
        "version": of.version,
        "history": changes.list_record_lines(page.session, of),
    }


def _sort_by_owner(shown: Sequence[ShownTicket]) -> list[ShownTicket]:
    return sorted(shown, key=lambda of: (of.bowler_name, of.label, of.id))


def _read_saved(of: Squad) -> dict[str, str]:
    is_tournament = "true" if of.is_tournament else ""
    return {"label": of.label, "begins": ticket_views.format_field(of.begins_at), "is_tournament": is_tournament}


@router.get("/{squad_id}")
def show_squad(page: PageDep, squad_id: RecordId) -> Response:
    return page.show("squads/show.html", "", 200, **_load_squad(page, squad_id))


@router.post("/{squad_id}")
def edit_squad(page: PageDep, squad_id: RecordId, posted: Posted) -> Response:
    try:
        squads.edit(page.session, squad_id, page.read(SquadForm, posted))
    except ShopError as error:
        return page.show_refused(error, "squads/show.html", posted, lambda: _load_squad(page, squad_id))
    return page.redirect(f"/squads/{squad_id}")


def _render_paper(page: Page, squad_id: int, is_pdf: bool) -> Response:
    of = squads.get_squad(page.session, squad_id)
    listed = _sort_by_owner(ticket_reads.list_of_squad(page.session, squad_id))
    return answer_print(page, "prints/squad.html", f"squad-{squad_id}", is_pdf, squad=of, listed=listed, at=now())


@router.get("/{squad_id}/paper")
def show_paper(page: PageDep, squad_id: RecordId) -> Response:
    """Its balls by owner, with room for who read which tag at each hand-over."""
    return _render_paper(page, squad_id, is_pdf=False)


@router.get("/{squad_id}/paper.pdf")
def download_paper(page: PageDep, squad_id: RecordId) -> Response:
    return _render_paper(page, squad_id, is_pdf=True)
