"""What a weighing before drilling tells of the grip that a ball has now, which may lie elsewhere since.

A weighing tells the heavy spot from the grip that was marked then. Where the ball was laid out anew, pin and mass mark
are the same places of the ball under both layouts, so the reading is turned with them. Where one of the two grips was
never recorded nobody knows how far it moved, and the reading counts no more.
"""

import math
from collections.abc import Sequence

from sqlalchemy.orm import Session

from app.calculation.balances import NORMAL, Balance
from app.calculation.errors import CannotBuildError
from app.calculation.grip import Grip
from app.calculation.layouts import LaidOut
from app.calculation.sphere import Vector, combine, cross, dot, heading, unit
from app.models import Layout, Weighing
from app.services import layouts
from app.services.heavy_spots import find_marking_u_in, lay_out

_GRIP_CENTRE: Vector = (0.0, 0.0, 1.0)


def find_layout_then(session: Session, of: Weighing, hand: str) -> Layout | None:
    """Returns the layout of a hand that a ball was weighed with; that of its drilling comes first."""
    stood = [
        one
        for one in layouts.list_of_ball(session, of.ball_id)
        if one.hand == hand
        and one.chosen_at <= of.at
        and (one.dropped_at is None or one.dropped_at > of.at)
        and one.drilling_id in {None, of.drilling_id}
    ]
    return next((one for one in stood if one.drilling_id), next(iter(stood), None))


def fill_unread(read: Sequence[tuple[float, float] | None], marked: Balance | None) -> list[tuple[float, float] | None]:
    """Returns value and doubt each way; of one that was not read (None) those that marks and layout tell, if any."""
    return [one or _take_way(marked, i) for i, one in enumerate(read)]


def _take_way(marked: Balance | None, i: int) -> tuple[float, float] | None:
    interval = marked.find_interval(i) if marked else None
    return None if marked is None or interval is None else (marked.ounces[i], (interval[1] - interval[0]) / 2 / NORMAL)


def carry_reading(
    session: Session, of: Weighing, layout: Layout | None, grip: Grip, read: Vector
) -> tuple[Vector, float] | None:
    """Returns what was read as it is from the grip of `layout`, and its doubt by moving; None where nobody knows.

    The doubt, inches each way, is that of marking both grips; 0 where they are the same. Without a layout then and now
    the grip counts as the same.
    """
    then = find_layout_then(session, of, grip.hand)
    if then is layout:
        return read, 0.0
    if then is None or layout is None or _has_mark(then) != _has_mark(layout):
        return None
    try:
        laid = [lay_out(grip.circumference_in, one, None) for one in (then, layout)]
    except CannotBuildError:
        return None
    before, after = (_frame_marks(one) for one in laid)
    a, b, c = (dot(read, way) for way in before)
    now = combine(1.0, combine(a, after[0], b, after[1]), c, after[2])
    spots = [unit(v) if any(v) else _GRIP_CENTRE for v in (read, now)]
    return now, math.hypot(*(find_marking_u_in(one, spot) for one, spot in zip(laid, spots, strict=True)))


def _has_mark(layout: Layout) -> bool:
    """Whether the drilling angle is to a mass mark; without one it is to the centre-of-gravity mark."""
    return layout.marks is None or layout.marks.has_mass_mark is not False


def _frame_marks(laid: LaidOut) -> tuple[Vector, Vector, Vector]:
    """Directions that are the ball's own, in the frame of a layout's grip: pin, from there to the mark, across both."""
    towards = heading(laid.pin, laid.mark)
    return laid.pin, towards, cross(laid.pin, towards)
