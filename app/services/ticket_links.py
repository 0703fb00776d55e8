"""Ties a drilling to the ticket that it is for. Imports models and history only: plans call it."""

from sqlalchemy import exists, or_, select
from sqlalchemy.orm import Session

from app.closed_sets import DRILLS
from app.models import Ball, Drilling, Ticket
from app.services import changes
from app.services.ticket_stages import ENDED, LIVE_DRILLINGS, OPEN

DONE_BY_DRILLING = sorted(DRILLS | {"thumb"})
UNFINISHED = ("planned", "drilled")


def take_up(session: Session, who: int, drilling: Drilling) -> Ticket | None:
    """Gives a new drilling to the ball's oldest open ticket of such work that has none; returns that ticket."""
    live = select(Drilling.id).where(Drilling.state.in_(LIVE_DRILLINGS))
    waiting = (
        select(Ticket)
        .where(
            Ticket.ball_id == drilling.ball_id,
            Ticket.what.in_(DONE_BY_DRILLING),
            Ticket.state.not_in([*ENDED, "done"]),
            or_(Ticket.drilling_id.is_(None), Ticket.drilling_id.not_in(live)),
        )
        .order_by(Ticket.id)
        .limit(1)
    )
    of = session.scalar(waiting)
    if of:
        ball = session.get_one(Ball, drilling.ball_id)
        changes.revise(session, who, of, {"drilling_id": drilling.id}, bowler=ball.bowler_id)
    return of


def find_unfinished(session: Session, ball_id: int, what: str) -> int | None:
    """Returns the drilling under way in a ball that a new ticket of this kind is for, if no ticket has it yet."""
    if what not in DONE_BY_DRILLING:
        return None
    taken = select(Ticket.drilling_id).where(Ticket.drilling_id.is_not(None), Ticket.state.in_(OPEN))
    own = (Drilling.ball_id == ball_id, Drilling.state.in_(UNFINISHED), Drilling.id.not_in(taken))
    return session.scalar(select(Drilling.id).where(*own).order_by(Drilling.id.desc()).limit(1))


def find_after_return(session: Session, of: Ticket) -> int | None:
    """Returns the drilling of work taken up again: its own if no other open ticket got it, else one under way."""
    if of.drilling_id:
        others = (Ticket.drilling_id == of.drilling_id, Ticket.id != of.id, Ticket.state.in_(OPEN))
        own = (Drilling.id == of.drilling_id, Drilling.state.in_(LIVE_DRILLINGS), ~exists().where(*others))
        if session.scalar(select(Drilling.id).where(*own)):
            return of.drilling_id
    return find_unfinished(session, of.ball_id, of.what) if of.ball_id else None
