"""What a ticket waits for: glue, a part, the bowler, an answer. Over its state, so that ending it needs no memory."""

from collections.abc import Sequence
from datetime import datetime, timedelta

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.access import DRILLER, Actor
from app.db import load_one
from app.errors import ConflictError, InvalidError, NotAllowedError, NotFoundError
from app.models import Part, TicketWait, now
from app.schemas.tickets import WaitEndForm, WaitForm
from app.services import changes, ticket_reads
from app.services.ticket_stages import ENDED

_LONGEST = 400


def find_open(session: Session, ticket_id: int) -> TicketWait | None:
    own = (TicketWait.ticket_id == ticket_id, TicketWait.ended_at.is_(None))
    return session.scalar(select(TicketWait).where(*own))


def get_wait(session: Session, wait_id: int) -> TicketWait:
    """Returns a wait; raises NotFoundError."""
    found = load_one(session, TicketWait, wait_id)
    if found is None:
        raise NotFoundError("There is no such wait.")
    return found


def list_parts(session: Session) -> Sequence[Part]:
    """Returns the parts in use that a wait can be for, adhesives first."""
    in_use = select(Part).where(Part.retired_at.is_(None))
    return session.scalars(in_use.order_by(Part.kind != "glue", Part.label, Part.id)).all()


def is_curing(of: TicketWait) -> bool:
    """Whether it is an open wait for glue that has not cured yet."""
    return of.kind == "glue" and of.ended_at is None and of.until is not None and of.until > now()


def begin(session: Session, ticket_id: int, form: WaitForm) -> TicketWait:
    """Begins a wait, in the place of an open one, but never shortens the time that glue cures.

    Raises ConflictError for a ticket that has left the shop, InvalidError for one whose glue cures longer.
    """
    of = ticket_reads.get_ticket(session, ticket_id)
    changes.require_version(session, of, form.version)
    if of.state in ENDED:
        raise ConflictError(f"This ticket is {of.state}: nothing waits any more.")
    part = _find_part(session, form.part_id)
    until = _find_until(form, part)
    left = find_open(session, ticket_id)
    if left and is_curing(left) and (form.kind != "glue" or until is None or left.until is None or until < left.until):
        told = "Its glue or resin has not cured yet: wait for that, or end it with your reason, and then ask."
        raise InvalidError.at("kind", told)
    close_open(session, ticket_id, form.who)
    begun = TicketWait(
        ticket_id=of.id,
        kind=form.kind,
        why=form.why or (part.label if part else ""),
        part_id=part.id if part else None,
        until=until,
        raised_by_id=form.who,
    )
    session.add(begun)
    entry = changes.Entry("waits for", "", f"{form.kind}: {begun.why}".removesuffix(": "))
    changes.note(session, form.who, of, entry, ticket_reads.bowler_of(of).id, is_addition=True)
    session.flush()
    return begun


def _find_part(session: Session, part_id: int | None) -> Part | None:
    part = session.get(Part, part_id) if part_id else None
    if part_id and part is None:
        raise InvalidError.at("part_id", "That part is not known. Choose one, or leave it open.")
    return part


def _find_until(form: WaitForm, part: Part | None) -> datetime | None:
    """When it ends by itself: as typed, else after the minutes typed, else after what the shop entered for the glue."""
    minutes = form.minutes or (part.cure_minutes if part and form.kind == "glue" else None)
    until = form.until or (now() + timedelta(minutes=minutes) if minutes else None)
    if form.kind == "glue" and until is None:
        told = f"Nobody entered how long {part.label if part else 'it'} cures: write the minutes, as its maker says."
        raise InvalidError.at("minutes", told)
    if until and until <= now():
        raise InvalidError.at("until", "That is past. Write a later time, or leave it open.")
    return until


def end(session: Session, wait_id: int, form: WaitEndForm) -> TicketWait:
    """Ends a wait with its answer; raises InvalidError for glue that has not cured, unless a reason is given.

    Raises NotAllowedError where somebody who does not drill ends the time that glue cures.
    """
    ended = get_wait(session, wait_id)
    if ended.ended_at:
        raise ConflictError("Somebody ended this wait already.")
    actor: Actor | None = session.info.get("actor")
    if is_curing(ended) and actor and not actor.is_at_least(DRILLER):
        raise NotAllowedError("It has not cured yet: only who drills may go on before.")
    if is_curing(ended) and not form.why:
        told = (
            "It has not cured as long as its maker says. Wait, or write why you go on; a joint that lets go can hurt."
        )
        raise InvalidError.at("why", told)
    if ended.kind in ("bowler", "question") and not form.why:
        raise InvalidError.at("why", "What is the answer?")
    of = ticket_reads.get_ticket(session, ended.ticket_id)
    entry = changes.Entry("waits for", f"{ended.kind}: {ended.why}".removesuffix(": "), "over", form.why)
    changes.note(session, form.who, of, entry, ticket_reads.bowler_of(of).id)
    ended.ended_at, ended.ended_by_id = now(), form.who
    if form.why:
        ended.why = f"{ended.why} → {form.why}"[:_LONGEST]
    session.flush()
    return ended


def close_open(session: Session, ticket_id: int, who: int) -> None:
    """Ends what is left open when a ticket goes on, such as glue that has cured meanwhile."""
    left = find_open(session, ticket_id)
    if left:
        left.ended_at, left.ended_by_id = now(), who
        session.flush()
