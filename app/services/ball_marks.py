"""The marks of a ball: each saving is a row of its own, the newest counts, and the older ones are its history."""

from collections.abc import Sequence
from fractions import Fraction

from sqlalchemy import select
from sqlalchemy.orm import Session, joinedload

from app.calculation.errors import CannotBuildError
from app.errors import ConflictError, InvalidError
from app.measures.wording import exact
from app.models import Ball, BallMarks, Drilling
from app.schemas.forms import typed_texts
from app.schemas.layouts import BallMarksForm
from app.services import changes, heavy_spots

_FIELDS = {"pin_mark_in": "pin_mark", "pin_heavy_in": "pin_centre", "mark_heavy_in": "mark_centre"}
_SAID = {"yes": True, "no": False, "unknown": None}


def list_of_ball(session: Session, ball_id: int) -> Sequence[BallMarks]:
    """Returns every row of a ball's marks with who read them, newest first."""
    own = select(BallMarks).where(BallMarks.ball_id == ball_id).options(joinedload(BallMarks.staff))
    return session.scalars(own.order_by(BallMarks.id.desc())).all()


def find_newest(session: Session, ball_id: int) -> BallMarks | None:
    """Returns the marks that count; None where nobody read any."""
    newest = select(BallMarks).where(BallMarks.ball_id == ball_id).order_by(BallMarks.id.desc()).limit(1)
    return session.scalar(newest.options(joinedload(BallMarks.staff)))


def find_of(session: Session, drilling: Drilling) -> BallMarks | None:
    """Returns the marks that count for a drilling: the newest, and for a closed one those that were known by then.

    Where nobody had read any by then, the first that were read since.
    """
    read = list_of_ball(session, drilling.ball_id)
    if drilling.closed_at is None:
        return next(iter(read), None)
    then = [of for of in read if of.made_at <= drilling.closed_at]
    return then[0] if then else next(reversed(read), None)


def write_said(has_mass_mark: bool | None) -> str:
    """Returns the choice of the form that means this."""
    return next(word for word, meant in _SAID.items() if meant is has_mass_mark)


def list_texts(marks: BallMarks | None) -> dict[str, str]:
    """Returns the form of these marks as typed; of a ball without any it is empty."""
    if marks is None:
        return {}
    side = marks.centre_side or "unknown"
    return marks.typed | {"has_mass_mark": write_said(marks.has_mass_mark), "centre_side": side, "note": marks.note}


def list_known(ball: Ball) -> dict[str, str]:
    """Returns what a form of the first marks need not ask again: the weight that was typed for the ball."""
    return {"label_weight": f"{exact(ball.weight_lb)} lb"} if ball.weight_lb else {}


def add(session: Session, ball: Ball, form: BallMarksForm) -> BallMarks:
    """Adds the marks of a ball; raises ConflictError if somebody saved others since the form was shown."""
    if ball.removed_at:
        raise ConflictError(f"{ball.label} was removed. Put it back first.")
    before = find_newest(session, ball.id)
    if form.version != (before.id if before else 0):
        who = f"{before.staff.name} saved other marks" if before else "The marks changed"
        raise ConflictError(f"{who} while you were typing. Compare them with what you typed, then save again.")
    values: dict[str, Fraction | None] = {
        "label_weight_oz": form.label_weight.value,
        "real_weight_oz": form.real_weight.value,
        "top_weight_oz": form.top_weight.value,
        "pin_mark_in": form.pin_mark.value,
        "pin_centre_in": form.pin_centre.value,
        "mark_centre_in": form.mark_centre.value,
        "doubt_in": form.doubt.value,
    }
    has_mark = _SAID[form.has_mass_mark]
    added = BallMarks(ball_id=ball.id, has_mass_mark=has_mark, note=form.note, typed=typed_texts(form), **values)
    added.staff_id = form.who
    added.centre_side = None if form.centre_side == "unknown" else form.centre_side
    _check_arcs(ball, added)
    words = ", ".join(f"{changes.describe_field(n)} {exact(v)}" for n, v in values.items() if v is not None)
    told = f"{words or 'nothing measured'}; mass mark: {form.has_mass_mark}; side: {form.centre_side}"
    changes.add_record(session, form.who, added, told, bowler=ball.bowler_id)
    return added


def _check_arcs(ball: Ball, marks: BallMarks) -> None:
    """Raises InvalidError at the arc that contradicts the others beyond their doubt, or is impossible."""
    try:
        heavy_spots.fit_stored(float(ball.around_in), marks)
    except CannotBuildError as error:
        field = _FIELDS.get(error.field, "doubt")
        words = f"{error.message[0].upper()}{error.message[1:]}. Which was read wrong?"
        raise InvalidError.at(field, words) from None
