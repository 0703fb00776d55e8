"""A layout that a drilling gives up: dropped, or for one chosen since.

Before the first cut only, and then person, hand and ball are read back again.
"""

from sqlalchemy.orm import Session

from app.errors import ConflictError, InvalidError
from app.models import Drilling, Layout, now
from app.schemas.layouts import LayoutDroppingForm, LayoutTakingForm
from app.services import bench, changes, drillings, layout_standings, layouts, taken_back

_READ_AGAIN = "put on another layout: to be read back again"


def find_drilling(session: Session, of: Layout) -> Drilling | None:
    """Returns the drilling, with its steps, that is made on a layout, or would be; none that was called off."""
    number = of.drilling_id
    if number is None:
        planned = drillings.pick_in_force(drillings.list_of_balls(session, [of.ball_id])).get(of.ball_id)
        number = planned.id if planned and layouts.find_of(session, planned) is of else None
    drilling = bench.get_drilling(session, number) if number else None
    return None if drilling is None or drilling.state == "not drilled" else drilling


def is_cut(of: Drilling) -> bool:
    """Whether anything of a drilling is cut already; its steps are loaded."""
    return of.state != "planned" or bool(taken_back.find_first_cut(of))


def find_obstacle(session: Session, of: Drilling, since: Layout) -> str:
    """Returns why a drilling cannot be put on a layout chosen since, or "" if it can; its steps are loaded."""
    plan = of.current_plan
    if is_cut(of):
        return "it is cut already"
    if plan is None or plan.grip.hand != since.hand:
        return f"that one is of the {since.hand} hand"
    if since.axis_point.taken_back_at or not layout_standings.is_of_owner(session, since.ball, since.axis_point):
        return "the axis point of that one does not hold any more"
    return ""


def take(session: Session, drilling_id: int, form: LayoutTakingForm) -> Drilling:
    """Puts a drilling on the layout chosen since; raises ConflictError if that is no longer it, or after a cut."""
    of = bench.get_drilling(session, drilling_id)
    changes.require_version(session, of, form.version)
    saved = layouts.list_of_ball(session, of.ball_id)
    used = layout_standings.pick_of(session, saved, of)
    since = layout_standings.pick_since(saved, of, used)
    if since is None or since.id != form.layout_id:
        raise ConflictError("Another layout was chosen meanwhile, or this one dropped. Look at the layout again.")
    obstacle = find_obstacle(session, of, since)
    if obstacle:
        raise ConflictError(f"The drilling stays on its layout: {obstacle}.")
    _let_go(session, form.who, of, used)
    return of


def _let_go(session: Session, who: int, drilling: Drilling, used: Layout | None) -> None:
    """Frees a drilling of its layout: it goes on to the newest of its hand, and what was read back is void."""
    if used and used.drilling_id:
        changes.revise(session, who, used, {"drilling_id": None}, bowler=used.ball.bowler_id)
    values = {"confirmed_at": None, "confirmed_by_id": None, "confirmed_reason": ""}
    if drilling.confirmed_at:
        changes.revise(session, who, drilling, values, _READ_AGAIN, drilling.ball.bowler_id)


def drop(session: Session, layout_id: int, form: LayoutDroppingForm) -> Layout:
    """Marks a layout as dropped, with the reason; raises ConflictError for one that a ball is cut on.

    Raises InvalidError for one that a drilling is planned on, unless the form says that this is meant.
    """
    of = layouts.get_layout(session, layout_id)
    changes.require_version(session, of, form.version)
    if of.dropped_at:
        raise ConflictError("This layout is dropped already.")
    drilling = find_drilling(session, of)
    if drilling and is_cut(drilling):
        raise ConflictError("The ball is cut on this layout: it stays. Choose another one beside it.")
    if drilling and not form.is_meant:
        raise InvalidError.at("is_meant", "A drilling is planned on it. Drop it all the same?")
    if drilling:
        _let_go(session, form.who, drilling, of)
    changes.revise(session, form.who, of, {"dropped_at": now()}, form.why, of.ball.bowler_id)
    of.dropped_reason = form.why
    return of
