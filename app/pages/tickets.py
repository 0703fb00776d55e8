"""Work at the counter: taking it in, one ticket with all its forms, the message to copy, the hand-over card."""

from collections.abc import Sequence

from fastapi import Response
from sqlalchemy.orm import Session

from app.closed_sets import DRILLS, WAIT_KIND_WORDS
from app.errors import NotFoundError, ShopError
from app.models import Ball, Bowler, Ticket, now
from app.pages import ticket_views
from app.pages.admission import PageDep, PageRouter, Posted, PostedPicture, QueryId, RecordId
from app.pages.formats import format_promise
from app.pages.lanes import KEEPS_PHOTO
from app.pages.prints import answer_print, make_qr_code
from app.pages.render import Page
from app.schemas.forms import read_id
from app.schemas.moments import tell_showing
from app.schemas.tickets import TicketForm
from app.services import (
    balls,
    bowlers,
    changes,
    drillings,
    fits,
    floor,
    inners,
    measurements,
    squads,
    ticket_histories,
    ticket_reads,
    ticket_scans,
    ticket_waits,
    tickets,
)
from app.services.next_taps import name_tap

router = PageRouter(prefix="/tickets")
_LONGEST_SCAN = 400

# Intake ---------------------------------------------------------------------------------------------------------------


def _load_intake(page: Page, bowler_id: int, thing: str = "") -> dict[str, object]:
    bowler = bowlers.get_bowler(page.session, bowler_id)
    bowlers.require_in_use(bowler)
    owned = balls.list_of_bowler(page.session, bowler.id)
    things = ticket_views.list_things(owned, inners.list_of_bowler(page.session, bowler.id))
    coming = squads.list_squads(page.session, page.me().shop_id)
    usual = _choose_usual(page.session, bowler, owned)
    if thing in [value for value, _ in things]:
        usual["thing"] = thing
    return {
        "ticket": None,
        "bowler": bowler,
        "things": things,
        "squads": coming,
        "promises": ticket_views.list_promises(now(), coming),
        "values": usual | {"promised_quick": "", "priority": "usual"},
        "lost_photo": False,
        "version": "",
    }


def _choose_usual(session: Session, bowler: Bowler, owned: Sequence[Ball]) -> dict[str, str]:
    """What most intakes are: the newest ball neither drilled nor here to be, by the fit in force; else a new one."""
    in_use = [of for of in owned if not of.retired_at]
    drilled = drillings.pick_in_force(drillings.list_of_balls(session, [of.id for of in in_use]))
    taken = {of.ball_id for of in ticket_reads.list_of_bowler(session, bowler.id) if of.what in DRILLS}
    free = [
        of.id for of in in_use if of.id not in taken and (of.id not in drilled or drilled[of.id].state == "planned")
    ]
    has_fit = any(fit.state == "in force" for fit in fits.list_of_bowler(session, bowler.id))
    return {"thing": f"ball:{max(free)}" if free else "new", "what": "same" if has_fit else "new"}


@router.get("/new")
def show_intake(page: PageDep, bowler_id: QueryId | None = None, thing: str = "") -> Response:
    """The intake form of a bowler; without one, the bowler is found first."""
    if bowler_id is None:
        return page.redirect("/")
    return page.show("tickets/form.html", "", 200, **_load_intake(page, bowler_id, thing))


@router.post("", name=KEEPS_PHOTO)
def take_in(page: PageDep, photo: PostedPicture, posted: Posted) -> Response:
    bowler_id = read_id(posted.get("bowler_id", ""))
    try:
        taken = tickets.take_in(page.session, page.read(TicketForm, posted), photo)
    except ShopError as error:
        if bowler_id is None or isinstance(error, NotFoundError):
            raise
        return page.show_refused(
            error, "tickets/form.html", posted, lambda: _load_intake(page, bowler_id) | {"lost_photo": bool(photo)}
        )
    return page.redirect(f"/tickets/{taken.id}")


@router.get("/{ticket_id}/edit")
def show_edit_form(page: PageDep, ticket_id: RecordId) -> Response:
    return page.show("tickets/form.html", "", 200, **_load_edit(page, ticket_id))


def _load_edit(page: Page, ticket_id: int) -> dict[str, object]:
    of = ticket_reads.get_ticket(page.session, ticket_id)
    thing = ticket_reads.thing_of(of)
    coming = list(squads.list_squads(page.session, of.made_by_shop_id))
    if of.squad and of.squad not in coming:
        coming.append(of.squad)
    names = ("what", "words", "symptom", "wishes", "squad_id", "priority", "priority_reason", "price")
    values = {name: getattr(of, name) for name in names}
    values["promised"] = ticket_views.format_field(of.promised_at)
    values["thing"] = f"{'ball' if isinstance(thing, Ball) else 'inner'}:{thing.id}"
    return {
        "ticket": of,
        "bowler": thing.bowler,
        "thing": thing,
        "things": [],
        "squads": coming,
        "promises": [],
        "values": values,
        "version": of.version,
    }


@router.post("/{ticket_id}")
def edit(page: PageDep, ticket_id: RecordId, posted: Posted) -> Response:
    try:
        tickets.edit(page.session, ticket_id, page.read(TicketForm, posted))
    except ShopError as error:
        return page.show_refused(error, "tickets/form.html", posted, lambda: _load_edit(page, ticket_id))
    return page.redirect(f"/tickets/{ticket_id}")


# One ticket -----------------------------------------------------------------------------------------------------------


def load_ticket(page: Page, ticket_id: int, scan: str = "", wait: str = "") -> dict[str, object]:
    """Returns what the page of a ticket shows, with the forms of every stage."""
    of = ticket_reads.get_ticket(page.session, ticket_id)
    shown = ticket_reads.get_shown(page.session, ticket_id)
    bowler = ticket_reads.bowler_of(of)
    return {
        "ticket": of,
        "shown": shown,
        "bowler": bowler,
        "at": now(),
        "tap": name_tap(shown, ticket_views.role_of(page)),
        "mix_up": ticket_scans.describe_mix_up(page.session, of.id) if shown.is_mixed_up else "",
        "moves": ticket_histories.list_moves(page.session, ticket_id),
        "redone": ticket_reads.list_redone(page.session, ticket_id),
        "parts_known": ticket_waits.list_parts(page.session),
        "showing": tell_showing(shown.promised_at) if shown.promised_at else "",
        "fetched_by": ticket_views.pick_name(bowler.guardian) if bowler.is_minor else bowler.name,
        "scan": scan[:_LONGEST_SCAN],
        "waits_for": wait if wait in WAIT_KIND_WORDS else "",
        "history": changes.list_record_lines(page.session, of),
        "version": of.version,
    }


@router.get("/{ticket_id}")
def show_ticket(page: PageDep, ticket_id: RecordId, scan: str = "", wait: str = "") -> Response:
    """One ticket; `scan` is the tag that led here, `wait` opens that form as the bench asks for it."""
    return page.show("tickets/show.html", "", 200, **load_ticket(page, ticket_id, scan, wait))


@router.get("/{ticket_id}/message")
def show_message(page: PageDep, ticket_id: RecordId) -> Response:
    """The shop's own words to copy into whatever it writes with: nothing is sent from here."""
    shown = ticket_reads.get_shown(page.session, ticket_id)
    promised = format_promise(shown.promised_at) if shown.promised_at else "when it is done"
    words = ticket_reads.describe_message(page.session, shown, floor.get_floor(page.session), promised)
    bowler = bowlers.get_bowler(page.session, shown.bowler_id)
    return page.show("tickets/message.html", shown=shown, bowler=bowler, words=words)


def _print_hand_over(page: Page, ticket_id: int, is_pdf: bool) -> Response:
    of: Ticket = ticket_reads.get_ticket(page.session, ticket_id)
    shown = ticket_reads.get_shown(page.session, ticket_id)
    drilling = drillings.get_drilling(page.session, shown.drilling_id) if shown.drilling_id else None
    thing = ticket_reads.thing_of(of)
    return answer_print(
        page,
        "prints/hand_over.html",
        f"hand-over-{of.id}",
        is_pdf,
        ticket=of,
        shown=shown,
        thing=thing,
        drilling=drilling,
        built=measurements.list_built_pairs(drilling) if drilling else {},
        care_words=floor.get_floor(page.session).care_words,
        code=make_qr_code(page, shown.thing_href),
    )


@router.get("/{ticket_id}/hand-over")
def show_card(page: PageDep, ticket_id: RecordId) -> Response:
    return _print_hand_over(page, ticket_id, is_pdf=False)


@router.get("/{ticket_id}/hand-over.pdf")
def download_card(page: PageDep, ticket_id: RecordId) -> Response:
    return _print_hand_over(page, ticket_id, is_pdf=True)
