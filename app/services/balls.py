"""A bowler's balls."""

from collections.abc import Sequence
from fractions import Fraction
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session, joinedload

from app.db import one
from app.errors import NotFoundError
from app.models import Ball, Bowler, now
from app.schemas.balls import BallForm, RetirementForm
from app.schemas.forms import typed_texts
from app.services import changes

USUAL_CIRCUMFERENCE_IN = Fraction(27)  # common practice, no source; shown in the field as the default


def ball(session: Session, ball_id: int) -> Ball:
    found = one(session, Ball, ball_id, joinedload(Ball.bowler))
    if found is None:
        raise NotFoundError("There is no such ball.")
    return found


def of_bowler(session: Session, bowler_id: int) -> Sequence[Ball]:
    """A bowler's balls in use first, then by label."""
    query = select(Ball).where(Ball.bowler_id == bowler_id)
    return session.scalars(query.order_by(Ball.retired_at.is_not(None), Ball.label)).all()


def add(session: Session, bowler: Bowler, form: BallForm) -> Ball:
    added = Ball(bowler_id=bowler.id, **_values(form))
    changes.made(session, form.who, added, added.label)
    return added


def edit(session: Session, ball_id: int, form: BallForm) -> Ball:
    edited = ball(session, ball_id)
    changes.require_version(session, edited, form.version)
    changes.revise(session, form.who, edited, _values(form))
    return edited


def retire(session: Session, ball_id: int, form: RetirementForm) -> Ball:
    """Takes a ball out of use, or back into use when it is out."""
    retired = ball(session, ball_id)
    changes.require_version(session, retired, form.version)
    changes.revise(session, form.who, retired, {"retired_at": None if retired.retired_at else now()}, form.why)
    return retired


def _values(form: BallForm) -> dict[str, Any]:
    return {
        "label": form.label,
        "serial": form.serial,
        "weight_lb": form.weight.value,
        "circumference_in": form.circumference.value or USUAL_CIRCUMFERENCE_IN,
        "safe_depth_in": form.safe_depth.value,
        "colour": form.colour,
        "condition": form.condition,
        "typed": typed_texts(form),
    }
