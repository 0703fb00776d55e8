"""Balls and inners that go to another bowler: sold, or recorded on the wrong one. Each can be undone, newest first.

History, drillings, readings and photos hang on the ball or inner and go along; fits stay with their bowler, and a
drilling still names the fit that it was drilled from. History names bowlers by number, because erasing one must not
leave the name in the history of another.
"""

from collections.abc import Sequence

from sqlalchemy import or_, select
from sqlalchemy.orm import Session, joinedload

from app.db import load_one
from app.errors import ConflictError, InvalidError, NotFoundError
from app.models import Ball, Bowler, Drilling, Inner, OwnerChange, now
from app.schemas.taken_back import OwnerForm, TakingBackForm
from app.services import balls, bowler_words, bowlers, changes, inners

Thing = Ball | Inner
_PEOPLE = (
    joinedload(OwnerChange.owner_before),
    joinedload(OwnerChange.owner_after),
    joinedload(OwnerChange.ball),
    joinedload(OwnerChange.inner),
    joinedload(OwnerChange.staff),
)


def move_ball(session: Session, ball_id: int, form: OwnerForm) -> Ball:
    """Moves a ball to another bowler; raises InvalidError at the field for a bowler who cannot have it."""
    moved = balls.get_ball(session, ball_id)
    changes.require_version(session, moved, form.version)
    if moved.removed_at:
        raise ConflictError(f"{moved.label} was removed. Put it back first.")
    _move(session, moved, form)
    return moved


def move_inner(session: Session, inner_id: int, form: OwnerForm) -> Inner:
    """Moves an inner to another bowler; raises InvalidError at the field for a bowler who cannot have it."""
    moved = inners.get_inner(session, inner_id)
    changes.require_version(session, moved, form.version)
    _move(session, moved, form)
    return moved


def find_new_owner(session: Session, moved: Thing, to_id: int | None) -> Bowler:
    """Returns the bowler that a ball or inner may go to; raises InvalidError at the field."""
    if not to_id:
        raise InvalidError.at("to_id", "Who has it now? Look the bowler up above.")
    try:
        found = bowlers.get_bowler(session, to_id)
    except NotFoundError:
        raise InvalidError.at("to_id", "There is no such bowler. Who has it now?") from None
    if found.erased_at:
        raise InvalidError.at(
            "to_id", "That person was erased from the records, and nothing may be added. Who has it now?"
        )
    if found.removed_at:
        raise InvalidError.at("to_id", f"The record of {found.name} was removed. Put it back first, or choose another.")
    if found.id == moved.bowler_id:
        raise InvalidError.at("to_id", f"It is recorded as that of {found.name} already. Who has it now?")
    return found


def _move(session: Session, moved: Thing, form: OwnerForm) -> None:
    to, before = find_new_owner(session, moved, form.to_id), moved.bowler
    _require_no_plan(session, moved)
    change = OwnerChange(
        ball_id=moved.id if isinstance(moved, Ball) else None,
        inner_id=moved.id if isinstance(moved, Inner) else None,
        from_id=before.id,
        to_id=to.id,
        why=form.why,
        staff_id=form.who,
    )
    session.add(change)
    _set_owner(session, form.who, moved, to, form.why)


def _require_no_plan(session: Session, moved: Thing) -> None:
    """Raises ConflictError for a ball that is to be drilled, or an inner that is to be fitted, as its bowler's."""
    own = Drilling.ball_id == moved.id if isinstance(moved, Ball) else Drilling.inner_id == moved.id
    if session.scalar(select(Drilling.id).where(own, Drilling.state == "planned").limit(1)):
        raise ConflictError(
            f"A drilling with {moved.label} is planned for {moved.bowler.name}. Call it off or finish it first."
        )


def _set_owner(session: Session, who: int, moved: Thing, to: Bowler, why: str) -> None:
    """Gives a ball or inner to a bowler, with a line of history for itself and one for either bowler's record."""
    before = moved.bowler
    told = changes.Entry("bowler", f"bowler no. {before.id}", f"bowler no. {to.id}", why)
    changes.note(session, who, moved, told, bowler=to.id)
    left = changes.Entry(f"{moved.__tablename__} no. {moved.id}", "here", f"with bowler no. {to.id}", why)
    changes.note(session, who, before, left)
    moved.bowler_id, moved.bowler = to.id, to
    session.flush()
    for owner in (before, to):
        bowler_words.index_bowler(session, owner)


def undo(session: Session, change_id: int, form: TakingBackForm) -> OwnerChange:
    """Gives a ball or inner back to the bowler it came from; raises ConflictError if that is past."""
    change = get_change(session, change_id)
    moved = get_thing(session, change)
    changes.require_version(session, moved, form.version)
    before = bowlers.get_bowler(session, change.from_id)
    newest = find_newest(session, moved)
    if change.undone_at or newest is None or newest.id != change.id:
        raise ConflictError("It was given back, or went to another bowler since: only the newest change can be undone.")
    if before.erased_at or before.removed_at:
        raise ConflictError("The record it came from was erased or removed since, so it cannot go back there.")
    _require_no_plan(session, moved)
    _set_owner(session, form.who, moved, before, form.why)
    change.undone_at, change.undone_reason = now(), form.why
    return change


def get_change(session: Session, change_id: int) -> OwnerChange:
    """Returns a change of owner with its people, ball and inner; raises NotFoundError."""
    found = load_one(session, OwnerChange, change_id, *_PEOPLE)
    if found is None:
        raise NotFoundError("There is no such change of owner.")
    return found


def get_thing(session: Session, change: OwnerChange) -> Thing:
    """Returns the ball or inner of a change of owner, with its bowler."""
    if change.ball_id:
        return balls.get_ball(session, change.ball_id)
    return inners.get_inner(session, change.inner_id or 0)


def find_newest(session: Session, moved: Thing) -> OwnerChange | None:
    """Returns the newest change of owner that was not undone."""
    return next(iter(list_of_thing(session, moved)), None)


def list_of_thing(session: Session, moved: Thing) -> Sequence[OwnerChange]:
    """Returns the former owners of a ball or inner, the last first; changes that were undone are left out."""
    own = OwnerChange.ball_id == moved.id if isinstance(moved, Ball) else OwnerChange.inner_id == moved.id
    query = select(OwnerChange).where(own, OwnerChange.undone_at.is_(None)).options(*_PEOPLE)
    return session.scalars(query.order_by(OwnerChange.id.desc())).all()


def list_of_bowler(session: Session, bowler_id: int) -> Sequence[OwnerChange]:
    """Returns what came to a bowler and what went, newest first; changes that were undone are left out."""
    own = or_(OwnerChange.from_id == bowler_id, OwnerChange.to_id == bowler_id)
    query = select(OwnerChange).where(own, OwnerChange.undone_at.is_(None)).options(*_PEOPLE)
    return session.scalars(query.order_by(OwnerChange.id.desc())).all()
