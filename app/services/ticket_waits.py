"""What a ticket waits for: glue, a part, the bowler, an answer. Over its state, so that ending it needs no memory."""

from datetime import datetime, timedelta

from sqlalchemy import select
from sqlalchemy.orm import Session
from sqlalchemy.orm.attributes import flag_modified

from app.access import DRILLER, Actor
from app.db import load_one
from app.errors import ConflictError, InvalidError, NotAllowedError, NotFoundError
from app.models import Part, Ticket, TicketWait, now
from app.schemas.tickets import LONGEST_MINUTES, WaitEndForm, WaitForm
from app.services import changes, shelf, ticket_reads
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


def list_parts(session: Session) -> list[tuple[int, str]]:
    """Returns the parts in use that a wait can be for, each with what it is called, adhesives first."""
    in_use = select(Part).where(Part.retired_at.is_(None))
    found = session.scalars(in_use.order_by(Part.kind != "glue", Part.label, Part.size_in, Part.id))
    return [(of.id, shelf.name_part(of)) for of in found]


def begin(session: Session, ticket_id: int, form: WaitForm) -> TicketWait:
    """Begins a wait, in the place of an open one; raises ConflictError for a ticket that has left the shop.

    Glue that has not cured gives way only to glue that cures longer: anything else would be a way around its timer.
    """
    of = ticket_reads.get_for_change(session, ticket_id, form.version)
    if of.state in ENDED:
        raise ConflictError(f"This ticket is {of.state}: nothing waits any more.")
    part = _find_part(session, form.part_id)
    until = _find_until(form, part)
    _require_cured(find_open(session, ticket_id), form, until)
    replaced = _close_open(session, of, form.who)
    begun = TicketWait(
        ticket_id=of.id,
        kind=form.kind,
        why=form.why or (shelf.name_part(part) if part else ""),
        part_id=part.id if part else None,
        until=until,
        raised_by_id=form.who,
    )
    session.add(begun)
    _note(session, form.who, of, changes.Entry("waits for", replaced, _tell(begun)))
    return begun


def _tell(wait: TicketWait) -> str:
    return f"{wait.kind}: {wait.why}".removesuffix(": ")


def _note(session: Session, who: int, of: Ticket, entry: changes.Entry) -> None:
    """Writes a line of history, and gives the ticket a new version: a form shown before has to be looked at again."""
    changes.note(session, who, of, entry, ticket_reads.bowler_of(of).id)
    flag_modified(of, "state")
    session.flush()


def _find_part(session: Session, part_id: int | None) -> Part | None:
    part = session.get(Part, part_id) if part_id else None
    if part_id and part is None:
        raise InvalidError.at("part_id", "That part is not known. Choose one, or leave it open.")
    return part


def _is_curing(wait: TicketWait | None) -> bool:
    return wait is not None and wait.kind == "glue" and wait.until is not None and wait.until > now()


def _require_cured(wait: TicketWait | None, form: WaitForm, until: datetime | None) -> None:
    """Raises InvalidError for a wait that would end glue before it has cured."""
    if wait is None or wait.until is None or not _is_curing(wait):
        return
    if form.kind == "glue" and until and until >= wait.until:
        return
    told = (
        f"{wait.why or 'The glue'} has not cured, and this would end its timer. Ask meanwhile, and note it when it has."
    )
    raise InvalidError.at("kind", told)


def _find_until(form: WaitForm, part: Part | None) -> datetime | None:
    """When it ends by itself: as typed, else after the minutes typed, else after what the shop entered for the glue.

    Glue may be given more than the shop entered for it, never less.
    """
    cures = part.cure_minutes if part and form.kind == "glue" else None
    minutes = form.minutes or cures
    until = form.until or (now() + timedelta(minutes=minutes) if minutes else None)
    if part and cures and until and until < now() + timedelta(minutes=cures - 1):  # a field shows no seconds
        told = f"{part.label} cures {cures} min, as its maker says. Leave this empty, or write a longer time."
        raise InvalidError.at("until" if form.until else "minutes", told)
    if form.kind == "glue" and until is None:
        told = f"Nobody entered how long {part.label if part else 'it'} cures: write the minutes, as its maker says."
        raise InvalidError.at("minutes", told)
    if until and until <= now():
        raise InvalidError.at("until", "That is past. Write a later time, or leave it open.")
    longest = timedelta(minutes=LONGEST_MINUTES) if form.kind == "glue" else timedelta(days=366)
    if form.until and form.until > now() + longest:
        told = f"At most {'two weeks' if form.kind == 'glue' else 'a year'}: look at month and year."
        raise InvalidError.at("until", told)
    return until


def end(session: Session, wait_id: int, form: WaitEndForm) -> TicketWait:
    """Ends a wait with its answer; glue that has not cured is ended by a driller, who gives a reason."""
    ended = get_wait(session, wait_id)
    if ended.ended_at:
        raise ConflictError("Somebody ended this wait already.")
    of = ticket_reads.get_ticket(session, ended.ticket_id)
    if of.state in ENDED:
        raise ConflictError(f"This ticket is {of.state}: nothing waits any more.")
    actor: Actor | None = session.info.get("actor")
    if _is_curing(ended) and actor and not actor.is_at_least(DRILLER):
        raise NotAllowedError("It has not cured. Whether the work goes on before is a driller's to decide.")
    if _is_curing(ended) and not form.why:
        told = (
            "It has not cured as long as its maker says. Wait, or write why you go on; a joint that lets go can hurt."
        )
        raise InvalidError.at("why", told)
    if ended.kind in ("bowler", "question") and not form.why:
        raise InvalidError.at("why", "What is the answer?")
    entry = changes.Entry("waits for", _tell(ended), "over", form.why)
    ended.ended_at, ended.ended_by_id = now(), form.who
    if form.why:
        ended.why = f"{ended.why} → {form.why}"[:_LONGEST]
    _note(session, form.who, of, entry)
    return ended


def close_open(session: Session, of: Ticket, who: int) -> None:
    """Ends what is left open when a ticket goes on, such as glue that has cured meanwhile."""
    left = _close_open(session, of, who)
    if left:
        _note(session, who, of, changes.Entry("waits for", left, "over"))


def _close_open(session: Session, of: Ticket, who: int) -> str:
    """Ends an open wait and returns in words what it was for, "" without one."""
    left = find_open(session, of.id)
    if left is None:
        return ""
    left.ended_at, left.ended_by_id = now(), who
    session.flush()
    return _tell(left)
