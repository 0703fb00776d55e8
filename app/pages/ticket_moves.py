"""What is done with a ticket, each a form of its page; and the follow-ups that are due."""

from collections.abc import Callable

from fastapi import Response
from sqlalchemy.orm import Session

from app.errors import ShopError
from app.models import Ticket, now
from app.pages import ticket_views
from app.pages.admission import PageDep, PageRouter, Posted, QueryId, RecordId
from app.pages.render import F, Page
from app.pages.tickets import load_ticket
from app.schemas.taken_back import TakingBackForm
from app.schemas.tickets import (
    FollowUpForm,
    HandOverForm,
    MoveForm,
    RackForm,
    ScanForm,
    TakeForm,
    WaitEndForm,
    WaitForm,
)
from app.services import ticket_boards, ticket_moves, ticket_reads, ticket_waits
from app.services.next_taps import name_undo
from app.services.ticket_stages import ShownTicket

router = PageRouter()


def _refuse(page: Page, error: ShopError, ticket_id: int, posted: dict[str, str], refused: str) -> Response:
    scan = posted.get("scan", "")
    return page.show_refused(error, "tickets/show.html", posted, lambda: load_ticket(page, ticket_id, scan), refused)


def _lead_to_ticket(_shown: ShownTicket, moved: Ticket) -> str:
    return f"/tickets/{moved.id}"


def _lead_to_bench(shown: ShownTicket, moved: Ticket) -> str:
    return f"/drillings/{shown.drilling_id}/bench" if shown.drilling_id else f"/tickets/{moved.id}"


def _move(
    page: Page,
    ticket_id: int,
    posted: dict[str, str],
    read: type[F],
    act: Callable[[Session, int, F], Ticket],
    lead: Callable[[ShownTicket, Ticket], str] = _lead_to_ticket,
) -> Response:
    """Moves a ticket by the form that has the act's name; a scan of another ball leads to its page, which says so."""
    try:
        moved = act(page.session, ticket_id, page.read(read, posted))
    except ShopError as error:
        return _refuse(page, error, ticket_id, posted, page.request.url.path.rpartition("/")[2])
    shown = ticket_reads.get_shown(page.session, ticket_id)
    if shown.is_mixed_up:
        return page.redirect(f"/tickets/{ticket_id}")
    return page.redirect(ticket_views.find_way_back(posted, lead(shown, moved)))


@router.post("/tickets/{ticket_id}/ready")
def make_ready(page: PageDep, ticket_id: RecordId, posted: Posted) -> Response:
    return _move(page, ticket_id, posted, RackForm, ticket_moves.make_ready)


@router.post("/tickets/{ticket_id}/scan")
def scan(page: PageDep, ticket_id: RecordId, posted: Posted) -> Response:
    return _move(page, ticket_id, posted, ScanForm, ticket_moves.scan)


@router.post("/tickets/{ticket_id}/take")
def take(page: PageDep, ticket_id: RecordId, posted: Posted) -> Response:
    """Taken with a plan, the bench is next."""
    return _move(page, ticket_id, posted, TakeForm, ticket_moves.take, _lead_to_bench)


@router.post("/tickets/{ticket_id}/putting-back")
def put_back(page: PageDep, ticket_id: RecordId, posted: Posted) -> Response:
    return _move(page, ticket_id, posted, RackForm, ticket_moves.put_back)


@router.post("/tickets/{ticket_id}/done")
def finish(page: PageDep, ticket_id: RecordId, posted: Posted) -> Response:
    return _move(page, ticket_id, posted, MoveForm, ticket_moves.finish)


@router.post("/tickets/{ticket_id}/hand-over")
def hand_over(page: PageDep, ticket_id: RecordId, posted: Posted) -> Response:
    """Where another ball was scanned, the names typed stay in the form."""
    answer = _move(page, ticket_id, posted, HandOverForm, ticket_moves.hand_over)
    loaded = load_ticket(page, ticket_id)
    if answer.status_code != 303 or not loaded["mix_up"]:
        return answer
    typed = posted | {"scan": ""}
    return page.show("tickets/show.html", "", 409, **loaded | {"values": typed, "refused": "hand-over"})


@router.post("/tickets/{ticket_id}/follow-up")
def follow_up(page: PageDep, ticket_id: RecordId, posted: Posted) -> Response:
    return _move(page, ticket_id, posted, FollowUpForm, ticket_moves.follow_up)


@router.post("/tickets/{ticket_id}/taking-back")
def take_back(page: PageDep, ticket_id: RecordId, posted: Posted) -> Response:
    return _move(page, ticket_id, posted, TakingBackForm, ticket_moves.take_back)


@router.post("/tickets/{ticket_id}/calling-off")
def call_off(page: PageDep, ticket_id: RecordId, posted: Posted) -> Response:
    return _move(page, ticket_id, posted, TakingBackForm, ticket_moves.call_off)


@router.post("/tickets/{ticket_id}/calling-off-removal")
def take_up_again(page: PageDep, ticket_id: RecordId, posted: Posted) -> Response:
    return _move(page, ticket_id, posted, TakingBackForm, ticket_moves.take_up_again)


# Waits ----------------------------------------------------------------------------------------------------------------


@router.post("/tickets/{ticket_id}/waits")
def begin_wait(page: PageDep, ticket_id: RecordId, posted: Posted) -> Response:
    try:
        ticket_waits.begin(page.session, ticket_id, page.read(WaitForm, posted))
    except ShopError as error:
        return _refuse(page, error, ticket_id, posted, "waits")
    return page.redirect(ticket_views.find_way_back(posted, f"/tickets/{ticket_id}"))


@router.post("/waits/{wait_id}/end")
def end_wait(page: PageDep, wait_id: RecordId, posted: Posted) -> Response:
    of = ticket_waits.get_wait(page.session, wait_id)
    ticket_id = of.ticket_id
    try:
        ticket_waits.end(page.session, wait_id, page.read(WaitEndForm, posted))
    except ShopError as error:
        return _refuse(page, error, ticket_id, posted, "end")
    return page.redirect(ticket_views.find_way_back(posted, f"/tickets/{ticket_id}"))


# Follow-ups -----------------------------------------------------------------------------------------------------------


@router.get("/follow-ups")
def show_follow_ups(page: PageDep, heard: QueryId | None = None) -> Response:
    """Whom this shop asks how it is, one tap each; of the ticket `heard` just now, the tap can be taken back."""
    last = ticket_reads.get_shown(page.session, heard) if heard else None
    due = ticket_boards.list_work(page.session, page.me().shop_id, now()).due
    return page.show(
        "tickets/follow_ups.html",
        due=ticket_views.pair_taps(page, due),
        last=last,
        undo_tap=name_undo(last) if last else None,
    )
