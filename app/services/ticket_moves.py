"""Moves tickets on: tagged, taken in hand, put back, done, handed over, followed up; and takes such moves back.

A ticket stores only what no drilling knows; `ticket_stages` reads the rest. Two people who take one ticket at the same
time are told apart by its version.
"""

from datetime import timedelta

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.closed_sets import DRILLS, CheckMoment, TicketState
from app.errors import ConflictError, InvalidError
from app.models import Ticket, TicketMove, now
from app.schemas.taken_back import TakingBackForm
from app.schemas.tickets import FollowUpForm, HandOverForm, MoveForm, RackForm, ScanForm, TakeForm
from app.services import changes, floor, ticket_links, ticket_reads, ticket_scans, ticket_waits, tickets
from app.services.ticket_stages import ENDED, ShownTicket

_ORDER: tuple[TicketState, ...] = ("taken in", "ready", "on the bench", "done", "handed over", "followed up")


def _require_stage(session: Session, of: Ticket, *allowed: str) -> ShownTicket:
    """Returns the ticket as shown; raises ConflictError in any stage but these."""
    shown = ticket_reads.get_shown(session, of.id)
    if shown.stage.name not in allowed:
        raise ConflictError(f"Ticket {of.id} is {shown.stage.name}: it has to be {' or '.join(allowed)} for that.")
    return shown


def _move(session: Session, who: int, of: Ticket, state: TicketState, note: str = "", **more: object) -> None:
    """Brings a ticket into a state of its own, with who, when and why; the only place that does."""
    bowler_id = ticket_reads.bowler_of(of).id
    changes.revise(session, who, of, {"state": state, **more}, note, bowler_id)
    session.add(TicketMove(ticket_id=of.id, state=state, staff_id=who, note=note))
    session.flush()


def _is_right_ball(session: Session, of: Ticket, scan: str, moment: CheckMoment, who: int) -> bool:
    """Whether the ball may change hands: it needs no scan, or what was read is its own tag."""
    if not ticket_scans.require(of, scan):
        return True
    return ticket_scans.check(session, of, scan, moment, who).is_match


def make_ready(session: Session, ticket_id: int, form: RackForm) -> Ticket:
    """The ball is tagged and in the rack; a plan may be made before."""
    of = ticket_reads.get_for_change(session, ticket_id, form.version)
    if of.state != "taken in":
        raise ConflictError(f"Ticket {of.id} is {of.state}: it was tagged and racked already.")
    if not _is_right_ball(session, of, form.scan, "rack", form.who):
        return of
    _move(session, form.who, of, "ready", form.note)
    return of


def scan(session: Session, ticket_id: int, form: ScanForm) -> Ticket:
    """Reads the tag of a ball that is here, to put a mix-up right; moves nothing, and takes none from the rack."""
    of = ticket_reads.get_for_change(session, ticket_id, form.version)
    changes.require_may_edit(session, of)
    if of.state in ENDED:
        raise ConflictError(f"This ticket is {of.state}: its ball is not here.")
    ticket_scans.check(session, of, form.scan, "check", form.who)
    return of


def take(session: Session, ticket_id: int, form: TakeForm) -> Ticket:
    """Somebody takes a ticket in hand; work without a drilling is on the bench then."""
    of = ticket_reads.get_for_change(session, ticket_id, form.version)
    shown = _require_stage(session, of, "ready", "planned", "on the bench")
    if not _is_right_ball(session, of, form.scan, "take", form.who):
        return of
    held: dict[str, object] = {"holder_id": form.who, "taken_at": now()}
    if shown.drilling_id or of.what in DRILLS:
        changes.revise(session, form.who, of, held, bowler=shown.bowler_id)
        session.flush()
    else:
        _move(session, form.who, of, "on the bench", "", **held)
    return of


def put_back(session: Session, ticket_id: int, form: RackForm) -> Ticket:
    """Puts a ball back into the rack, or work that was called done by mistake back on the bench."""
    of = ticket_reads.get_for_change(session, ticket_id, form.version)
    shown = _require_stage(session, of, "planned", "on the bench", "ready", "done")
    if shown.stage.name == "done" and of.state != "done":
        raise ConflictError("Its drilling is closed. Only what a drilling does not know can be put back.")
    if not _is_right_ball(session, of, form.scan, "rack", form.who):
        return of
    if of.state == "done":
        _move(session, form.who, of, "on the bench", form.note)
    elif of.state == "on the bench":
        _move(session, form.who, of, "ready", form.note, holder_id=None, taken_at=None)
    else:
        freed = {"holder_id": None, "taken_at": None}
        changes.revise(session, form.who, of, freed, form.note, shown.bowler_id)
        session.flush()
    return of


def finish(session: Session, ticket_id: int, form: MoveForm) -> Ticket:
    """Work without a drilling is done; a drilling is done when it is closed."""
    of = ticket_reads.get_for_change(session, ticket_id, form.version)
    shown = _require_stage(session, of, "on the bench")
    if shown.drilling_id or of.what in DRILLS:
        raise ConflictError("This is done when its drilling is measured and closed.")
    ticket_waits.close_open(session, of, form.who)
    _move(session, form.who, of, "done", form.note)
    return of


def hand_over(session: Session, ticket_id: int, form: HandOverForm) -> Ticket:
    """Hands over what is done; after a scan of another ball only a matching scan allows it."""
    of = ticket_reads.get_for_change(session, ticket_id, form.version)
    shown = _require_stage(session, of, "done")
    if shown.is_mixed_up and not form.scan:
        raise InvalidError.at("scan", "Another ball was read for this ticket. Scan the tag of the ball in your hands.")
    if not _is_right_ball(session, of, form.scan, "handover", form.who):
        return of
    days = timedelta(days=floor.get_floor(session).follow_up_days)
    ticket_waits.close_open(session, of, form.who)
    _move(
        session,
        form.who,
        of,
        "handed over",
        handed_to=form.handed_to,
        checked_with=form.checked_with,
        handed_over_at=now(),
        follow_up_on=now().astimezone().date() + days,
    )
    return of


def follow_up(session: Session, ticket_id: int, form: FollowUpForm) -> Ticket:
    """Notes what was heard of it; what is not fine is taken in again, and that ticket is returned."""
    of = ticket_reads.get_for_change(session, ticket_id, form.version)
    shown = _require_stage(session, of, "handed over")
    if form.outcome == "fine" and not shown.is_to_ask:
        raise ConflictError(f"It is asked after from {of.follow_up_on} on, when it has been bowled with.")
    thing = ticket_reads.thing_of(of)
    if form.outcome != "fine":
        tickets.require_in_use(session, thing)
    heard = {"outcome": form.outcome, "outcome_words": form.outcome_words}
    _move(session, form.who, of, "followed up", **heard)
    if form.outcome == "fine":
        return of
    again = Ticket(
        ball_id=of.ball_id,
        inner_id=of.inner_id,
        what="check" if of.what in DRILLS else of.what,  # what is to be done is seen first
        state="taken in",
        symptom=form.outcome_words,
        redo_of_id=of.id,
        redo_reason=form.redo_reason,
        staff_id=form.who,
    )
    tickets.store_new(session, form.who, again, thing)
    return again


# Taking back ----------------------------------------------------------------------------------------------------------


def take_back(session: Session, ticket_id: int, form: TakingBackForm) -> Ticket:
    """Takes a move of the counter back by its contrary move; nothing is deleted."""
    of = ticket_reads.get_for_change(session, ticket_id, form.version)
    stage = ticket_reads.get_shown(session, of.id).stage.name
    if of.state not in ("ready", "handed over", "followed up") or stage != of.state:
        raise ConflictError(f"This ticket is {stage}: there is no such move to take back.")
    if of.state == "followed up":
        _call_redone_off(session, of, form)
    emptied = _EMPTIED.get(of.state, {})
    _move(session, form.who, of, _find_state_before(session, of), form.why, **emptied)
    return of


def _call_redone_off(session: Session, of: Ticket, form: TakingBackForm) -> None:
    """Calls off what was taken in again because of what was heard; raises ConflictError once work on it has begun."""
    opened = select(Ticket.id).where(Ticket.redo_of_id == of.id, Ticket.state != "called off")
    for again in [ticket_reads.get_ticket(session, ticket_id) for ticket_id in session.scalars(opened)]:
        if again.state != "taken in":
            raise ConflictError(f"Ticket {again.id} does it again, and is {again.state}: call that one off first.")
        _move(session, form.who, again, "called off", form.why, called_off_reason=form.why)


_EMPTIED: dict[str, dict[str, object]] = {
    "handed over": {"handed_to": "", "checked_with": "", "handed_over_at": None, "follow_up_on": None},
    "followed up": {"outcome": "", "outcome_words": ""},
    "ready": {"holder_id": None, "taken_at": None},
}


def _find_state_before(session: Session, of: Ticket) -> TicketState:
    """Returns the last state of its own that comes before the one it is in; of one called off, the last other."""
    query = select(TicketMove.state).where(TicketMove.ticket_id == of.id).order_by(TicketMove.id.desc())
    states: list[TicketState] = list(session.scalars(query))
    known = [state for state in states if state != "called off"]
    if of.state == "called off":
        return known[0] if known else "taken in"
    rank = _ORDER.index(of.state)
    return next((state for state in known if _ORDER.index(state) < rank), "taken in")


def call_off(session: Session, ticket_id: int, form: TakingBackForm) -> Ticket:
    """Calls open work off; its ball goes back as it is. What it waits for stays: glue cures on, whoever calls off."""
    of = ticket_reads.get_for_change(session, ticket_id, form.version)
    if of.state in ENDED:
        raise ConflictError(f"This ticket is {of.state}: only open work can be called off.")
    freed = {"holder_id": None, "taken_at": None, "called_off_reason": form.why}
    _move(session, form.who, of, "called off", form.why, **freed)
    return of


def take_up_again(session: Session, ticket_id: int, form: TakingBackForm) -> Ticket:
    """Takes work that was called off up again, where it was."""
    of = ticket_reads.get_for_change(session, ticket_id, form.version)
    if of.state != "called off":
        raise ConflictError(f"This ticket is {of.state}: it was not called off.")
    tickets.require_may_come(session, ticket_reads.thing_of(of), of.what, of.id)
    back = {"called_off_reason": "", "drilling_id": ticket_links.find_after_return(session, of)}
    _move(session, form.who, of, _find_state_before(session, of), form.why, **back)
    return of
