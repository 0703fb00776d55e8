"""Takes work in at the counter: for a ball or an inner that is recorded, or for a ball that is recorded with it."""

from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.access import CLOCK_SLACK
from app.closed_sets import DRILLS
from app.errors import ConflictError, InvalidError, NotFoundError
from app.models import Ball, Inner, Ticket, TicketMove, now
from app.schemas.balls import BallForm
from app.schemas.tickets import (
    TicketForm,
)
from app.services import (
    balls,
    bowlers,
    changes,
    drillings,
    inners,
    photos,
    squads,
    ticket_links,
    ticket_reads,
)
from app.services.photos import Sent
from app.services.ticket_stages import ENDED, OPEN


def take_in(session: Session, form: TicketForm, photo: Sent = b"") -> Ticket:
    """Takes work in; a ball that is not recorded yet is added with it. Raises InvalidError or ConflictError."""
    squad = squads.find_for_ticket(session, form.squad_id, session.info.get("shop_id"))
    promised_at = form.promised_at or (squads.promised_for(squad) if squad else None)
    _refuse_past(promised_at, "promised")
    thing = _find_thing(session, form)
    require_may_come(session, thing, form.what, None)
    ball_id = thing.id if isinstance(thing, Ball) else None
    taken = Ticket(
        ball_id=ball_id,
        inner_id=thing.id if isinstance(thing, Inner) else None,
        state="taken in",
        drilling_id=ticket_links.find_unfinished(session, ball_id, form.what) if ball_id else None,
        staff_id=form.who,
        **_read_values(form, promised_at),
    )
    store_new(session, form.who, taken, thing)
    if photo:
        photos.add_photo(session, thing, form.who, photo)
    return taken


def _find_thing(session: Session, form: TicketForm) -> Ball | Inner:
    """Returns the ball or inner that a form names, a new ball added; raises ConflictError for one out of use."""
    kind, _, number = form.thing.partition(":")
    if kind == "new":
        if form.bowler_id is None:
            raise InvalidError.at("thing", "Whose ball is it? Find the bowler first.")
        typed = {"who": form.who, "label": form.ball_label, "serial": form.ball_serial}
        return balls.add(session, bowlers.get_bowler(session, form.bowler_id), BallForm.read(typed))
    try:
        thing = balls.get_ball(session, int(number)) if kind == "ball" else inners.get_inner(session, int(number))
    except NotFoundError as error:
        raise InvalidError.at("thing", error.message) from None
    if form.bowler_id and thing.bowler_id != bowlers.get_bowler(session, form.bowler_id).id:
        raise InvalidError.at(
            "thing", f"{thing.label} is another bowler's. Choose one of this bowler's, or a new ball."
        )
    return thing


def require_in_use(session: Session, thing: Ball | Inner) -> None:
    """Raises ConflictError for a ball or inner that is out of use, or whose bowler is."""
    bowlers.require_in_use(bowlers.get_bowler(session, thing.bowler_id))
    if thing.retired_at or getattr(thing, "removed_at", None):
        raise ConflictError(f"{thing.label} is out of use. Take it back into use first.")


def require_may_come(session: Session, thing: Ball | Inner, what: str, own_id: int | None) -> None:
    """Raises an error for a thing that is out of use, or for work that it cannot get."""
    require_in_use(session, thing)
    if what not in DRILLS:
        return
    if isinstance(thing, Inner):
        raise InvalidError.at("what", "An inner is not drilled by itself: choose thumb only, or the ball.")
    same = (Ticket.ball_id == thing.id, Ticket.what.in_(sorted(DRILLS)), Ticket.state.in_(OPEN))
    other = session.scalar(select(Ticket.id).where(*same, Ticket.id != (own_id or 0)).limit(1))
    if other:
        raise InvalidError.at("thing", f"{thing.label} is here to be drilled already: ticket {other}.")
    drilled = drillings.pick_in_force(drillings.list_of_balls(session, [thing.id])).get(thing.id)
    if own_id is None and what != "redrill" and drilled and drilled.state == "closed":
        raise InvalidError.at("what", f"{thing.label} is drilled already: choose plug and redrill.")


def _refuse_past(promised_at: datetime | None, field: str) -> None:
    if promised_at and promised_at < now() - CLOCK_SLACK:
        raise InvalidError.at(field, "That is past. Promise a later time, or leave it open.")


def _read_values(form: TicketForm, promised_at: datetime | None) -> dict[str, object]:
    names = ("what", "words", "symptom", "wishes", "squad_id", "priority", "price")
    reason = form.priority_reason if form.priority == "first" else ""
    return {name: getattr(form, name) for name in names} | {"promised_at": promised_at, "priority_reason": reason}


def store_new(session: Session, who: int, taken: Ticket, thing: Ball | Inner) -> None:
    """Stores a new ticket with its first move."""
    changes.add_record(session, who, taken, f"{taken.what}: {thing.label}", bowler=thing.bowler_id)
    session.add(TicketMove(ticket_id=taken.id, state=taken.state, staff_id=who))
    session.flush()


def edit(session: Session, ticket_id: int, form: TicketForm) -> Ticket:
    """Changes what was taken in; a promise may be past only if it was not changed."""
    of = ticket_reads.get_for_change(session, ticket_id, form.version)
    if of.state in ENDED:
        raise ConflictError(f"This ticket is {of.state}: it can no longer be changed.")
    is_same = form.squad_id == of.squad_id
    squad = of.squad if is_same else squads.find_for_ticket(session, form.squad_id, of.made_by_shop_id)
    promised_at = form.promised_at or (squads.promised_for(squad) if squad else None)
    if not _is_same_minute(promised_at, of.promised_at):
        _refuse_past(promised_at, "promised")
    else:
        promised_at = of.promised_at
    values = _read_values(form, promised_at)
    if form.what != of.what:
        if of.state == "done":
            raise InvalidError.at(
                "what", "This work is done: put it back first, or take other work in on a new ticket."
            )
        require_may_come(session, ticket_reads.thing_of(of), form.what, of.id)
        values["drilling_id"] = _find_drilling_for(session, of, form.what)
    changes.revise(session, form.who, of, values, bowler=ticket_reads.bowler_of(of).id)
    session.flush()
    return of


def _find_drilling_for(session: Session, of: Ticket, what: str) -> int | None:
    """Returns the drilling that other work on the same ball is done by; a plan is let go by work that needs none."""
    shown = ticket_reads.get_shown(session, of.id)
    if of.ball_id is None or what in ticket_links.DONE_BY_DRILLING:
        found = ticket_links.find_unfinished(session, of.ball_id, what) if of.ball_id else None
        return shown.drilling_id or found
    if shown.drilling_id and shown.stage.name != "planned":
        raise InvalidError.at("what", "Its drilling is begun. Take other work in by a ticket of its own.")
    return None


def _is_same_minute(one: datetime | None, other: datetime | None) -> bool:
    """A form shows no seconds, and not which of two equal times it is on the night when summer time ends."""
    if one is None or other is None:
        return one is other
    shown = (moment.astimezone().replace(tzinfo=None, second=0, microsecond=0) for moment in (one, other))
    return next(shown) == next(shown)
