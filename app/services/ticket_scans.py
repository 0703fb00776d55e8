"""Checks by its tag that a ball is the one on the ticket. A mix-up is kept, not refused and forgotten.

A scan that names another ball is saved, moves nothing, and bars the hand-over until a scan matches: a refusal would
roll back, and nobody would know that two balls lie in the wrong places.
"""

import re

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.closed_sets import CheckMoment
from app.errors import ConflictError, InvalidError
from app.models import Ball, BallCheck, Ticket
from app.services import changes, ticket_reads
from app.services.ticket_stages import ENDED, OPEN

_TAG = re.compile(r"/balls/(\d{1,9})(?!\d)", re.IGNORECASE)  # a scanner may send capitals


def read_scan(session: Session, text: str) -> Ball | None:
    """Returns the ball whose tag or serial was read, None for anything else.

    Raises InvalidError if two balls in the shop have that serial.
    """
    tag = _TAG.search(text)
    if tag:
        return session.get(Ball, int(tag[1]))
    serial = text.strip().lower()
    if not serial:
        return None
    here = select(Ticket.ball_id).where(Ticket.state.in_(OPEN), Ticket.ball_id.is_not(None))
    own = (Ball.id.in_(here), func.lower(Ball.serial) == serial)
    found = session.scalars(select(Ball).where(*own).order_by(Ball.id).limit(2)).all()
    if len(found) > 1:
        told = "Two balls here have this serial: scan the tag, which names the ball itself."
        raise InvalidError.at("scan", told)
    return found[0] if found else None


def check(session: Session, of: Ticket, text: str, moment: CheckMoment, who: int) -> BallCheck:
    """Keeps what was read at a moment against a ticket; returns it, matching or not."""
    if of.ball_id is None:
        raise InvalidError.at("scan", "This ticket is for an inner, which has no tag. Leave it empty.")
    seen = read_scan(session, text)
    made = BallCheck(
        ticket_id=of.id,
        ball_id=seen.id if seen else None,
        moment=moment,
        is_match=seen is not None and seen.id == of.ball_id,
        staff_id=who,
    )
    session.add(made)
    told = "its own ball" if made.is_match else f"ball no. {seen.id}" if seen else "no ball of ours"
    entry = changes.Entry("scan", "", told)
    changes.note(session, who, of, entry, ticket_reads.bowler_of(of).id, is_addition=True)
    session.flush()
    return made


def require(of: Ticket, text: str) -> bool:
    """Returns whether a scan is to be checked; raises InvalidError where a tournament needs one and none was read."""
    is_needed = of.ball_id is not None and of.squad is not None and of.squad.is_tournament
    if is_needed and not text:
        raise InvalidError.at("scan", "A tournament: scan the tag of the ball in your hands.")
    return bool(text)


def require_at_bench(session: Session, drilling_id: int) -> None:
    """Raises ConflictError if this drilling is for a tournament and its ball was not taken from the rack by its tag."""
    of = ticket_reads.find_of_drilling(session, drilling_id)
    if of and of.is_to_be_taken and of.stage.name not in ENDED:
        raise ConflictError(f"A tournament: scan the ball's tag first, by “Take it” on ticket {of.id}.")


def describe_mix_up(session: Session, ticket_id: int) -> str:
    """Returns in words whose ball was held at the newest scan, if it was another; "" otherwise."""
    newest = select(BallCheck).where(BallCheck.ticket_id == ticket_id).order_by(BallCheck.id.desc()).limit(1)
    last = session.scalar(newest)
    if last is None or last.is_match:
        return ""
    own = ticket_reads.get_shown(session, ticket_id)
    mine = f"this ticket is for {own.label} of {own.bowler_name}"
    if last.ball_id is None:
        return f"That is the tag of no ball of ours; {mine}."
    ball = session.get_one(Ball, last.ball_id)
    theirs = next(iter(ticket_reads.list_of_thing(session, ball)), None)
    if theirs is None:
        return f"You hold {ball.label}, for which no ticket was taken in; {mine}."
    ticket = f"ticket {theirs.id}" if theirs.stage.name not in ENDED else f"ticket {theirs.id}, {theirs.stage.name}"
    return f"You hold {theirs.label} of {theirs.bowler_name} ({ticket}); {mine}."
