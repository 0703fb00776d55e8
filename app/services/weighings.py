"""Weighings of a ball, before and after drilling, and the verdict that was told at one."""

from collections.abc import Mapping, Sequence
from datetime import date

from pydantic import JsonValue
from sqlalchemy import select
from sqlalchemy.orm import Session, joinedload

from app.db import load_one
from app.errors import ConflictError, InvalidError, NotFoundError
from app.models import Ball, Drilling, Regulation, Scale, Weighing, now
from app.schemas.forms import typed_texts
from app.schemas.taken_back import TakingBackForm
from app.schemas.weighings import WeighingForm
from app.services import changes, regulations

_WITH = (
    joinedload(Weighing.ball).joinedload(Ball.bowler),
    joinedload(Weighing.scale),
    joinedload(Weighing.regulation),
    joinedload(Weighing.staff),
)


def get_weighing(session: Session, weighing_id: int) -> Weighing:
    """Returns a weighing with its ball, bowler, scale, regulation and staff; raises NotFoundError."""
    found = load_one(session, Weighing, weighing_id, *_WITH)
    if found is None:
        raise NotFoundError("There is no such weighing.")
    return found


def list_of_ball(session: Session, ball_id: int) -> Sequence[Weighing]:
    """Returns every weighing of a ball, newest first; those taken back too."""
    own = select(Weighing).where(Weighing.ball_id == ball_id).options(*_WITH)
    return session.scalars(own.order_by(Weighing.id.desc())).all()


def list_of_drilling(session: Session, drilling_id: int) -> Sequence[Weighing]:
    """Returns the weighings of a drilling that count, newest first."""
    own = select(Weighing).where(Weighing.drilling_id == drilling_id, Weighing.taken_back_at.is_(None))
    return session.scalars(own.options(*_WITH).order_by(Weighing.id.desc())).all()


def add(
    session: Session,
    ball: Ball,
    form: WeighingForm,
    verdict: Mapping[str, JsonValue] | None = None,
    counted_from: dict[str, str] | None = None,
) -> Weighing:
    """Adds a weighing with the verdict that was told; raises InvalidError for a scale, drilling or regulation amiss."""
    if ball.removed_at:
        raise ConflictError(f"{ball.label} was removed. Put it back first.")
    scale = session.get(Scale, form.scale_id)
    if scale is None or scale.retired_at:
        raise InvalidError.at("scale_id", "Choose a scale that is in use.")
    drilling = session.get(Drilling, form.drilling_id) if form.drilling_id else None
    if form.drilling_id and (drilling is None or drilling.ball_id != ball.id):
        raise InvalidError.at("drilling_id", "Choose a drilling of this ball.")
    _require_in_force(session, form.regulation_id)
    values = {f"{name}_oz": reading.value for name, reading in form.readings.items()}
    added = Weighing(
        ball_id=ball.id,
        drilling_id=form.drilling_id,
        scale_id=scale.id,
        stage=form.stage,
        regulation_id=form.regulation_id,
        verdict=dict(verdict or {}),
        counted_from=counted_from,
        note=form.note,
        typed=typed_texts(form),
        staff_id=form.who,
        **values,
    )
    read = ", ".join(reading.text for reading in form.readings.values() if reading.value is not None)
    words = f"{form.stage} drilling, {scale.label}: {read}"
    changes.add_record(session, form.who, added, words, bowler=ball.bowler_id)
    return added


def _require_in_force(session: Session, regulation_id: int | None) -> None:
    """Raises InvalidError for a chosen regulation that is not in force today."""
    of = session.get(Regulation, regulation_id) if regulation_id else None
    if regulation_id and of is None:
        raise InvalidError.at("regulation_id", "Choose a regulation.")
    if of and (why := regulations.tell_not_in_force(of, date.today())):
        raise InvalidError.at("regulation_id", f"{of.edition}: {why}. Nothing is weighed under it: choose another.")


def take_back(session: Session, weighing_id: int, form: TakingBackForm) -> Weighing:
    """Marks a weighing as a mistake; it is kept, and counts nowhere."""
    of = get_weighing(session, weighing_id)
    changes.require_version(session, of, form.version)
    if of.taken_back_at:
        raise ConflictError("This weighing is taken back already.")
    changes.revise(session, form.who, of, {"taken_back_at": now()}, form.why, of.ball.bowler_id)
    of.taken_back_reason = form.why
    return of
