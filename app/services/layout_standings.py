"""What a layout stands on that no longer holds, and which layout a drilling is made on: asked by every page alike.

A drilling that is planned is made on the newest layout of its hand. The pause before its first cut fixes that layout:
one chosen later is told, and taken only by `layout_changes`.
"""

from collections.abc import Sequence

from sqlalchemy.orm import Session

from app.models import AxisPoint, Ball, BallMarks, Drilling, Layout
from app.services import mergers

_ARCS = ("has_mass_mark", "pin_mark_in", "pin_centre_in", "mark_centre_in", "centre_side")


def is_of_owner(session: Session, ball: Ball, point: AxisPoint) -> bool:
    """Whether an axis point is of the bowler who has the ball now, or of a record merged into that one."""
    return point.bowler_id == ball.bowler_id or point.bowler_id in mergers.list_ids(session, ball.bowler_id)


def pick_of(session: Session, saved: Sequence[Layout], drilling: Drilling) -> Layout | None:
    """Returns the one of a ball's layouts, newest first, that a drilling is made on, or would be while it is planned.

    One of the other hand never counts, nor one that was chosen after the pause before the first cut, unless it was said
    to be the one; nor for a new plan one that another drilling used or that stands on a former owner's axis point.
    """
    plan = drilling.current_plan
    own = [of for of in saved if not of.dropped_at and (plan is None or of.hand == plan.grip.hand)]
    used = next((of for of in own if of.drilling_id == drilling.id), None)
    if used or plan is None or drilling.state != "planned" or drilling.confirmed_at or not own:
        return used
    newest = own[0]
    is_free = newest.drilling_id is None and is_of_owner(session, newest.ball, newest.axis_point)
    return newest if is_free else None


def pick_since(saved: Sequence[Layout], drilling: Drilling, used: Layout | None) -> Layout | None:
    """Returns the newest layout of a ball where a drilling stays on an older one, or on none since its first cut."""
    newest = next((of for of in saved if not of.dropped_at), None)
    if newest is None or newest is used or newest.drilling_id is not None:
        return None
    if used is None:
        return newest if drilling.state == "planned" and drilling.confirmed_at else None
    return newest if newest.id > used.id else None


def list_doubts(session: Session, ball: Ball, point: AxisPoint) -> tuple[str, ...]:
    """Why an axis point no longer holds for a ball, in words. A former owner is not named."""
    told = []
    if point.taken_back_at:
        told.append(f"axis point taken back ({point.taken_back_reason})")
    if not is_of_owner(session, ball, point):
        told.append("axis point of a former owner")
    return tuple(told)


def list_stale(
    session: Session, ball: Ball, point: AxisPoint, marks: BallMarks | None, newest: BallMarks | None
) -> tuple[str, ...]:
    """What of a layout's axis point and marks no longer holds, in words."""
    told = list_doubts(session, ball, point)
    if marks is None or newest is None or not have_changed(marks, newest):
        return told
    days = [of.made_at.astimezone().date().isoformat() for of in (marks, newest)]
    return (*told, f"laid out from the marks of {days[0]}, read again {days[1]}")


def have_changed(marks: BallMarks, newest: BallMarks) -> bool:
    """Whether the newest marks lie otherwise on the ball; a weight read again moves none."""
    return any(getattr(marks, name) != getattr(newest, name) for name in _ARCS)
