"""A bowler's balls."""

from collections.abc import Iterable, Sequence
from fractions import Fraction
from typing import Any

from sqlalchemy import bindparam, select
from sqlalchemy.orm import Session, joinedload, make_transient_to_detached

from app.db import load_one
from app.errors import ConflictError, NotFoundError
from app.measures.reading import Reading
from app.models import Ball, Bore, Bowler, Drilling, Ticket, now
from app.models.balls import USUAL_CIRCUMFERENCE_IN
from app.prepared import AnyRow, Asked, Prepared
from app.schemas.balls import BallForm, RetirementForm
from app.schemas.forms import typed_texts
from app.services import bowler_words, bowlers, changes, old_holes
from app.services.ticket_stages import ENDED

_BOWLER = joinedload(Ball.bowler)


def get_ball(session: Session, ball_id: int) -> Ball:
    """Returns a ball with its bowler; raises NotFoundError."""
    found = load_one(session, Ball, ball_id, _BOWLER)
    if found is None:
        raise NotFoundError("There is no such ball.")
    return found


_OF_BOWLER = (
    select(Ball)
    .where(Ball.bowler_id == bindparam("bowler_id"), Ball.removed_at.is_(None))
    .order_by(Ball.retired_at.is_not(None), Ball.label)
)


def list_of_bowler(session: Session, bowler_id: int) -> Sequence[Ball]:
    """Returns a bowler's balls but removed ones, those in use first, then by label."""
    return session.scalars(_OF_BOWLER, {"bowler_id": bowler_id}).all()


_TO_READ: Prepared[AnyRow] = Prepared(_OF_BOWLER.with_only_columns(*Ball.__table__.c))


def ask_of_bowler(bowler_id: int) -> Asked[AnyRow]:
    """Returns the query of what `list_of_bowler` returns, to be fetched with others."""
    return _TO_READ.ask(bowler_id=bowler_id)


def read_of_bowler(rows: Iterable[AnyRow]) -> list[Ball]:
    """Returns the balls of `ask_of_bowler`; of no session, they are for reading, and what is not loaded raises."""
    read = [Ball(**row._asdict()) for row in rows]
    for ball in read:
        make_transient_to_detached(ball)
    return read


def list_removed(session: Session, bowler_id: int) -> Sequence[Ball]:
    """Returns the balls that were removed from this record, so that each can be put back."""
    removed = select(Ball).where(Ball.bowler_id == bowler_id, Ball.removed_at.is_not(None))
    return session.scalars(removed.order_by(Ball.label, Ball.id)).all()


def add(session: Session, bowler: Bowler, form: BallForm) -> Ball:
    bowlers.require_in_use(bowler)
    added = build(form)
    added.bowler_id = bowler.id
    changes.add_record(session, form.who, added, added.label)
    bowler_words.index_bowler(session, bowler)
    return added


def build(form: BallForm) -> Ball:
    """Returns the ball of a form, of nobody yet and not stored."""
    return Ball(**_read_values(form))


def edit(session: Session, ball_id: int, form: BallForm) -> Ball:
    edited = get_ball(session, ball_id)
    changes.require_version(session, edited, form.version)
    values = _read_values(form)
    old_holes.require_in_ball(session, ball_id, values["circumference_in"] or USUAL_CIRCUMFERENCE_IN)
    if changes.revise(session, form.who, edited, values):
        session.flush()
        _measure_bores(session, form.who, edited)
        bowler_words.index_bowler(session, edited.bowler)
    return edited


def _measure_bores(session: Session, who: int, measured: Ball) -> None:
    """Gives a circumference that was unknown to the bores of the ball, too."""
    if measured.circumference_in is None:
        return
    unknown = select(Bore).join(Drilling, Drilling.bore_id == Bore.id).where(Bore.circumference_in.is_(None))
    for bore in session.scalars(unknown.where(Drilling.ball_id == measured.id)):
        values = {"circumference_in": measured.circumference_in}
        changes.revise(session, who, bore, values, "its ball was measured", measured.bowler_id)


def retire(session: Session, ball_id: int, form: RetirementForm) -> Ball:
    """Takes a ball out of use, or back into use if it is out; raises ConflictError for one with an open ticket."""
    retired = get_ball(session, ball_id)
    changes.require_version(session, retired, form.version)
    here = (Ticket.ball_id == retired.id, Ticket.state.not_in(sorted(ENDED)))
    ticket_id = None if retired.retired_at else session.scalar(select(Ticket.id).where(*here).limit(1))
    if ticket_id:
        raise ConflictError(f"Ticket {ticket_id} is open: hand it over or call it off first.")
    changes.revise(session, form.who, retired, {"retired_at": None if retired.retired_at else now()}, form.why)
    return retired


def read_circumference_in(typed: Reading[Fraction]) -> Fraction | None:
    """Returns a typed circumference: the shop default for an empty field, None for an unknown one."""
    return None if typed.state == "unknown" else typed.value or USUAL_CIRCUMFERENCE_IN


def _read_values(form: BallForm) -> dict[str, Any]:
    return {
        "label": form.label,
        "serial": form.serial,
        "weight_lb": form.weight.value,
        "circumference_in": read_circumference_in(form.circumference),
        "safe_depth_in": form.safe_depth.value,
        "colour": form.colour,
        "condition": form.condition,
        "typed": typed_texts(form) | ({"holes": form.holes} if form.holes else {}),
    }
