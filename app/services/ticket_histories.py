"""Who brought a ticket into which stage, and when: its own moves, its waits, and what its drilling's history says."""

from datetime import datetime
from typing import NamedTuple

from sqlalchemy import literal, select, union_all
from sqlalchemy.orm import Session

from app.models import Change, DrillingStep, Staff, Ticket, TicketMove, TicketWait
from app.services import ticket_reads
from app.services.ticket_stages import read_true_stages

_staff, _wait, _step = Staff.__table__, TicketWait.__table__, DrillingStep.__table__


class Move(NamedTuple):
    """A ticket came into a stage: when, by whom, with what said."""

    at: datetime
    stage: str
    initials: str
    note: str


_STAGE_OF_DRILLING = {"planned": "planned", "drilled": "on the bench", "closed": "done"}


def list_moves(session: Session, ticket_id: int) -> list[Move]:
    """Returns every stage that a ticket came into, oldest first: its own moves, waits, and those of its drilling."""
    of = ticket_reads.get_ticket(session, ticket_id)
    moves = _list_own(session, of)
    if of.drilling_id:
        moves += _list_of_drilling(session, of.drilling_id)
    moves.sort(key=lambda move: move.at)
    stages = read_true_stages([move.stage for move in moves])
    true = [move._replace(stage=stage) for move, stage in zip(moves, stages, strict=True)]
    return sorted([*true, *_list_waits(session, of)], key=lambda move: move.at)


def _list_own(session: Session, of: Ticket) -> list[Move]:
    move = TicketMove.__table__.c
    query = select(move.at, move.state, _staff.c.initials, move.note).join(_staff, _staff.c.id == move.staff_id)
    return [Move(*row) for row in session.execute(query.where(move.ticket_id == of.id).order_by(move.id))]


def _list_waits(session: Session, of: Ticket) -> list[Move]:
    began = select(_wait.c.raised_at, literal("waiting"), _staff.c.initials, _wait.c.kind + literal(": ") + _wait.c.why)
    ended = select(_wait.c.ended_at, literal("wait over"), _staff.c.initials, literal(""))
    both = union_all(
        began.join(_staff, _staff.c.id == _wait.c.raised_by_id).where(_wait.c.ticket_id == of.id),
        ended.join(_staff, _staff.c.id == _wait.c.ended_by_id).where(_wait.c.ticket_id == of.id),
    )
    return [Move(at, stage, who, note.removesuffix(": ")) for at, stage, who, note in session.execute(both)]


def _list_of_drilling(session: Session, drilling_id: int) -> list[Move]:
    """What the drilling's own history says: planned, first tick, drilled, closed."""
    changed, moves = Change.__table__.c, []
    query = select(changed.at, changed.field, changed.new, _staff.c.initials).join(
        _staff, _staff.c.id == changed.staff_id
    )
    own = query.where(changed.noun == "drilling", changed.noun_id == drilling_id)
    for at, field, new, who in session.execute(own.where(changed.field.in_(("made", "state"))).order_by(changed.id)):
        stage = "planned" if field == "made" else _STAGE_OF_DRILLING.get(new, new)
        moves.append(Move(at, stage, who, "to measure" if new == "drilled" else ""))
    first = (
        select(_step.c.ticked_at, literal("on the bench"), _staff.c.initials, _step.c.words)
        .join(_staff, _staff.c.id == _step.c.staff_id)
        .where(_step.c.drilling_id == drilling_id, _step.c.ticked_at.is_not(None))
        .order_by(_step.c.ticked_at, _step.c.position)
        .limit(1)
    )
    return moves + [Move(*row) for row in session.execute(first)]
