"""Layouts chosen for a ball, and the layouts a bowler likes. Numbers are stored as typed and never worked out here."""

from collections.abc import Sequence
from fractions import Fraction
from typing import TypedDict

from sqlalchemy import select
from sqlalchemy.orm import Session, joinedload

from app.db import load_one
from app.errors import ConflictError, InvalidError, NotFoundError
from app.measures.wording import exact
from app.models import AxisPoint, Ball, Bowler, Drilling, FavouriteLayout, Layout, now
from app.schemas.forms import typed_texts
from app.schemas.layouts import FavouriteForm, LayoutForm, LayoutNumbers
from app.services import ball_marks, bowlers, changes, layout_standings, mergers

_WITH = (joinedload(Layout.ball).joinedload(Ball.bowler), joinedload(Layout.axis_point), joinedload(Layout.marks))


class _Numbers(TypedDict):
    pin_axis_in: Fraction
    axis_line_deg: Fraction
    drilling_deg: Fraction
    typed: dict[str, str]


def _read_numbers(form: LayoutNumbers) -> _Numbers:
    return {
        "pin_axis_in": form.pin_axis.given,
        "axis_line_deg": form.axis_line.given,
        "drilling_deg": form.drilling.given,
        "typed": typed_texts(form),
    }


def describe(of: Layout | FavouriteLayout) -> str:
    """`4 in, 35°, 40°`: pin to axis point, axis-line angle, drilling angle."""
    return f"{exact(of.pin_axis_in)} in, {exact(of.axis_line_deg)}°, {exact(of.drilling_deg)}°"


def get_layout(session: Session, layout_id: int) -> Layout:
    """Returns a layout with its ball, bowler, axis point and marks; raises NotFoundError."""
    found = load_one(session, Layout, layout_id, *_WITH)
    if found is None:
        raise NotFoundError("There is no such layout.")
    return found


def list_of_ball(session: Session, ball_id: int) -> Sequence[Layout]:
    """Returns every layout of a ball with what it was chosen from, newest first; dropped ones too."""
    own = select(Layout).where(Layout.ball_id == ball_id).options(*_WITH, joinedload(Layout.staff))
    return session.scalars(own.order_by(Layout.id.desc())).all()


def find_of(session: Session, drilling: Drilling) -> Layout | None:
    """Returns the layout that a drilling was made on, or would be while it is planned."""
    return layout_standings.pick_of(session, list_of_ball(session, drilling.ball_id), drilling)


def add(session: Session, ball: Ball, form: LayoutForm) -> Layout:
    """Adds a layout of a ball with its newest marks; raises InvalidError for an axis point of somebody else."""
    if ball.removed_at:
        raise ConflictError(f"{ball.label} was removed. Put it back first.")
    point = session.get(AxisPoint, form.axis_point_id)
    if point is None or not layout_standings.is_of_owner(session, ball, point):
        raise InvalidError.at("axis_point_id", "Choose an axis point of this ball's bowler.")
    if point.taken_back_at:
        raise InvalidError.at("axis_point_id", f"That axis point was taken back: {point.taken_back_reason}.")
    _require_of_ball(session, ball, form.drilling_id, point.hand)
    marks = ball_marks.find_newest(session, ball.id)
    added = Layout(
        ball_id=ball.id,
        axis_point_id=point.id,
        ball_marks_id=marks.id if marks else None,
        drilling_id=form.drilling_id,
        hand=point.hand,
        note=form.note,
        staff_id=form.who,
        **_read_numbers(form),
    )
    if form.misfit:
        added.typed = added.typed | {"misfit": form.misfit}
    changes.add_record(session, form.who, added, f"{describe(added)} in {ball.label}", bowler=ball.bowler_id)
    return added


def _require_of_ball(session: Session, ball: Ball, drilling_id: int | None, hand: str) -> None:
    """Raises InvalidError for a drilling of another ball, or of the other hand."""
    drilling = session.get(Drilling, drilling_id) if drilling_id else None
    if drilling_id and (drilling is None or drilling.ball_id != ball.id):
        raise InvalidError.at("drilling_id", "Choose a drilling of this ball.")
    plan = drilling.current_plan if drilling else None
    if plan and plan.grip.hand != hand:
        raise InvalidError.at("drilling_id", f"This ball is drilled for the {plan.grip.hand} hand.")


def use_in(session: Session, who: int, layout_id: int, drilling_id: int) -> Layout:
    """Notes which drilling uses a layout; raises ConflictError for one that is dropped or used by another already."""
    of = get_layout(session, layout_id)
    if of.dropped_at or of.drilling_id not in {None, drilling_id}:
        raise ConflictError("This layout is dropped, or another drilling uses it. Choose it again for this one.")
    _require_of_ball(session, of.ball, drilling_id, of.hand)
    changes.revise(session, who, of, {"drilling_id": drilling_id}, bowler=of.ball.bowler_id)
    return of


# Favourites -----------------------------------------------------------------------------------------------------------


def list_favourites(session: Session, bowler_id: int, hand: str = "") -> Sequence[FavouriteLayout]:
    """Returns a bowler's favourite layouts, of merged records too, by label; of one hand or of both."""
    own = FavouriteLayout.bowler_id.in_(mergers.list_ids(session, bowler_id)), FavouriteLayout.removed_at.is_(None)
    found = session.scalars(select(FavouriteLayout).where(*own).order_by(FavouriteLayout.label, FavouriteLayout.id))
    return [of for of in found if hand in {"", of.hand}]


def add_favourite(session: Session, bowler: Bowler, form: FavouriteForm) -> FavouriteLayout:
    """Adds a favourite layout; raises InvalidError for a label that this hand has already."""
    bowlers.require_in_use(bowler)
    if any(of.label == form.label for of in list_favourites(session, bowler.id, form.hand)):
        raise InvalidError.at("label", "This hand has a favourite of that name already.")
    numbers = _read_numbers(form)
    added = FavouriteLayout(bowler_id=bowler.id, hand=form.hand, label=form.label, staff_id=form.who, **numbers)
    changes.add_record(session, form.who, added, f"{form.label}: {describe(added)}")
    return added


def remove_favourite(session: Session, who: int, favourite_id: int) -> FavouriteLayout:
    """Takes a favourite off the list; it is kept. Raises NotFoundError, and ConflictError if it is so already."""
    of = session.get(FavouriteLayout, favourite_id)
    if of is None:
        raise NotFoundError("There is no such favourite.")
    if of.removed_at:
        raise ConflictError("This favourite is off the list already.")
    changes.revise(session, who, of, {"removed_at": now()})
    return of
