"""Axis points of a bowler's hands: dated, with how each was found, and which drilling used which."""

from collections.abc import Sequence
from datetime import date, datetime

from sqlalchemy import select
from sqlalchemy.orm import Session, joinedload

from app.db import load_one
from app.errors import ConflictError, NotFoundError
from app.models import AxisPoint, Bowler, Layout, now
from app.schemas.forms import typed_texts
from app.schemas.layouts import AxisPointForm
from app.schemas.taken_back import TakingBackForm
from app.services import bowlers, changes, mergers

_WHOSE = joinedload(AxisPoint.bowler)


def get_axis_point(session: Session, axis_point_id: int) -> AxisPoint:
    """Returns an axis point with its bowler; raises NotFoundError."""
    found = load_one(session, AxisPoint, axis_point_id, _WHOSE)
    if found is None:
        raise NotFoundError("There is no such axis point.")
    return found


def list_of_bowler(session: Session, bowler_id: int) -> Sequence[AxisPoint]:
    """Returns every axis point of a bowler, of merged records too, the one found last first; those taken back too."""
    own = AxisPoint.bowler_id.in_(mergers.list_ids(session, bowler_id))
    found = session.scalars(select(AxisPoint).where(own).options(joinedload(AxisPoint.staff))).all()
    return sorted(found, key=_order, reverse=True)


def _order(of: AxisPoint) -> tuple[date, datetime, int]:
    """One found on an unknown day may be older than any other, and counts as the oldest."""
    return of.found_on or date.min, of.made_at, of.id


def find_current(session: Session, bowler_id: int, hand: str) -> AxisPoint | None:
    """Returns the axis point of a hand that was found last and not taken back; None without one."""
    own = list_of_bowler(session, bowler_id)
    return next((of for of in own if of.hand == hand and not of.taken_back_at), None)


def list_uses(session: Session, points: Sequence[AxisPoint]) -> dict[int, list[Layout]]:
    """Returns the layouts with their balls that were chosen from each of these axis points, oldest first."""
    uses: dict[int, list[Layout]] = {of.id: [] for of in points}
    chosen = select(Layout).where(Layout.axis_point_id.in_(uses)).options(joinedload(Layout.ball))
    for layout in session.scalars(chosen.order_by(Layout.id)) if uses else ():
        uses[layout.axis_point_id].append(layout)
    return uses


def add(session: Session, bowler: Bowler, form: AxisPointForm) -> AxisPoint:
    """Adds an axis point; it counts for its hand unless one was found on a later day."""
    bowlers.require_in_use(bowler)
    added = build(form)
    added.bowler_id = bowler.id
    changes.add_record(session, form.who, added, describe(added))
    return added


def describe(of: AxisPoint) -> str:
    return f"{of.hand} hand: {of.typed.get('point', '')}"


def build(form: AxisPointForm) -> AxisPoint:
    """Returns the axis point of a form, of nobody yet and not stored."""
    point = form.point.given
    return AxisPoint(
        hand=form.hand,
        over_in=point.over_in,
        up_in=point.up_in,
        found_on=form.found_on,
        found_by=form.found_by,
        track_in=form.track.value,
        note=form.note,
        typed=typed_texts(form),
        staff_id=form.who,
    )


def take_back(session: Session, axis_point_id: int, form: TakingBackForm) -> AxisPoint:
    """Marks an axis point as a mistake; layouts that were chosen from it keep it. Raises ConflictError if it is so."""
    of = get_axis_point(session, axis_point_id)
    if of.taken_back_at:
        raise ConflictError("This axis point is taken back already.")
    changes.revise(session, form.who, of, {"taken_back_at": now()}, form.why)
    of.taken_back_reason = form.why
    return of
