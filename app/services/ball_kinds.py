"""How dense the body of a kind of ball is, learnt from balls of that kind that were weighed after drilling.

There is no catalogue of balls, so a kind is a label and a weight: balls that the shops call alike, letters' case and
spaces aside, and that weigh alike to the half pound. Each ball counts once, by its newest weighing after drilling; a
weighing that was taken back counts nowhere. Nothing learnt is stored: it is worked out again from the weighings, each
with the prediction that it was held against.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from sqlalchemy import select
from sqlalchemy.orm import Session, joinedload

from app.calculation.balances import mean_density_oz_in3
from app.calculation.ball_densities import Found, KindDensity, sharpen_density, start_density
from app.calculation.errors import CannotBuildError
from app.models import Ball, Drilling, Weighing
from app.services import balance_starts, balances, ball_marks, kept_predictions
from app.services.kept_predictions import KeptPrediction
from app.services.read_balances import ReadBalance, read_weighing

MOST = 30  # of the newest weighings of a kind that count
_HALVES = 2
_LOOKED_THROUGH = 2_000  # newest weighings of any kind, so that a page's cost is bounded
WEIGHT_U_OZ = balance_starts.WEIGHED_U_OZ * math.sqrt(2)  # of the weight drilled away, the difference of two weighings


@dataclass(frozen=True)
class Kind:
    """A kind of ball: its label in small letters, and its weight in half pounds (None: unknown)."""

    label: str
    half_pounds: int | None


def name_kind(ball: Ball) -> Kind:
    """Returns the kind that a ball is of."""
    pounds = ball.weight_lb
    return Kind(" ".join(ball.label.casefold().split()), None if pounds is None else round(_HALVES * pounds))


def learn_density(session: Session, drilling: Drilling) -> KindDensity | None:
    """Returns what other balls of the kind tell of this one's body; None where its own weight is not known.

    The ball's own weighings do not count: what was predicted for it is compared with them.
    """
    plan = drilling.current_plan
    weight_oz, _ = balance_starts.find_weight(drilling.ball, ball_marks.find_of(session, drilling))
    if plan is None or weight_oz is None:
        return None
    known = start_density(mean_density_oz_in3(weight_oz, plan.grip.circumference_in))
    for of in _list_weighed(session, drilling.ball):
        known = sharpen(session, known, of)
    return known


def sharpen(session: Session, known: KindDensity, of: Weighing) -> KindDensity:
    """Returns what is known after one more weighing; the same where it tells nothing."""
    kept = kept_predictions.read(of) if kept_predictions.has_kept(of) else _predict_again(session, known, of)
    if kept is None:
        return known
    try:
        found = tell_found(read_weighing(of), kept.is_weight_weighed)
        return sharpen_density(known, kept.at_density(known.density_oz_in3), found)
    except CannotBuildError:
        return known


def _predict_again(session: Session, known: KindDensity, of: Weighing) -> KeptPrediction | None:
    drilling = session.get(Drilling, of.drilling_id, options=(joinedload(Drilling.ball),)) if of.drilling_id else None
    if drilling is None:
        return None
    return kept_predictions.take(balances.predict(session, drilling, balance_starts.read_start(of), known, of.scale))


def tell_found(read: ReadBalance, is_weight_weighed: bool) -> Found:
    """Returns a weighing for the calculation; its weight counts where a scale told the weight before drilling too."""
    return Found(*read.ways, read.u_oz, read.weight_oz if is_weight_weighed else None, WEIGHT_U_OZ)


def _list_weighed(session: Session, ball: Ball) -> Sequence[Weighing]:
    """The newest weighing after drilling of each other ball of this kind, the oldest first."""
    alike = (
        select(Weighing)
        .join(Weighing.ball)
        .where(Weighing.stage == "after", Weighing.taken_back_at.is_(None), Weighing.drilling_id.is_not(None))
        .where(Weighing.ball_id != ball.id, Ball.weight_lb.is_not(None) if ball.weight_lb else Ball.weight_lb.is_(None))
        .options(joinedload(Weighing.ball), joinedload(Weighing.scale))
        .order_by(Weighing.id.desc())
    )
    kind = name_kind(ball)
    newest: dict[int, Weighing] = {}
    for of in session.scalars(alike.limit(_LOOKED_THROUGH)):
        if name_kind(of.ball) == kind:
            newest.setdefault(of.ball_id, of)
    return list(newest.values())[:MOST][::-1]
