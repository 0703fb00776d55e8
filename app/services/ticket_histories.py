"""Who brought a ticket into which stage, and when: its own moves, its waits, and what its drilling's history says."""

from collections.abc import Sequence
from datetime import datetime
from typing import NamedTuple

from sqlalchemy import literal, select, union_all
from sqlalchemy.orm import Session

from app.models import Change, Drilling, DrillingStep, Staff, Ticket, TicketMove, TicketWait
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


def _find_states(session: Session, drilling_id: int, written: Sequence[datetime]) -> dict[datetime, str]:
    """Returns the states that a drilling came into and was not taken back from, each by when its line was written."""
    of = session.get_one(Drilling, drilling_id)
    came = {"drilled": of.drilled_at, "closed": of.closed_at, "plugged": of.plugged_at, "not drilled": of.called_off_at}
    firsts = {state: next((at for at in written if at >= moment), None) for state, moment in came.items() if moment}
    return {at: state for state, at in firsts.items() if at}


def _list_of_drilling(session: Session, drilling_id: int) -> list[Move]:
    """What the drilling's own history says: planned, first tick, drilled, closed.

    Erasing empties the history's values: of such a line the drilling's own times say which state it was.
    """
    changed, moves = Change.__table__.c, []
    query = select(changed.at, changed.field, changed.new, _staff.c.initials).join(
        _staff, _staff.c.id == changed.staff_id
    )
    own = query.where(changed.noun == "drilling", changed.noun_id == drilling_id)
    lines = session.execute(own.where(changed.field.in_(("made", "state"))).order_by(changed.id)).all()
    states = _find_states(session, drilling_id, [at for at, field, *_ in lines if field == "state"])
    for at, field, new, who in lines:
        state = "planned" if field == "made" else new or states.get(at, "")
        if state:
            note = "to measure" if state == "drilled" else ""
            moves.append(Move(at, _STAGE_OF_DRILLING.get(state, state), who, note))
    first = (
        select(_step.c.ticked_at, literal("on the bench"), _staff.c.initials, _step.c.words)
        .join(_staff, _staff.c.id == _step.c.staff_id)
        .where(_step.c.drilling_id == drilling_id, _step.c.ticked_at.is_not(None))
        .order_by(_step.c.ticked_at, _step.c.position)
        .limit(1)
    )
    return moves + [Move(*row) for row in session.execute(first)]
