"""What a regulation says of a balance: its limits for a ball of this weight and these holes, and the verdict.

A ball belongs to the weight class of its weight as drilled (ASSUMED: the texts that were seen do not say). Without a
regulation there is no verdict. The official's scale and the rules in force decide.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from fractions import Fraction

from sqlalchemy.orm import Session

from app.calculation.balance_verdicts import (
    DIRECTIONS,
    BalanceLimits,
    BalanceVerdict,
    Direction,
    judge_balance,
    judge_weighing,
)
from app.calculation.balances import NORMAL, Ounces
from app.models import Regulation
from app.services import regulations
from app.services.balances import Prediction, ReadBalance


@dataclass(frozen=True)
class Ruling:
    """A regulation with its limits for one ball; `limits` is None where it says nothing of such a ball."""

    regulation: Regulation
    limits: BalanceLimits | None


def list_choices(session: Session, on: date) -> Sequence[Regulation]:
    """Returns the regulations in force on a day, those that the shop typed first."""
    return regulations.list_in_force(session, on)


def find_ruling(
    session: Session, on: date, regulation_id: int | None, weight_oz: float, has_thumb: bool, has_holes: bool = True
) -> Ruling | None:
    """Returns the chosen regulation, else the first in force, with its limits; None where none is in force."""
    in_force = list_choices(session, on)
    chosen = regulations.get_regulation(session, regulation_id) if regulation_id else next(iter(in_force), None)
    if chosen is None:
        return None
    found = regulations.read_body(chosen).find_class(Fraction(weight_oz).limit_denominator(1_000), has_thumb, has_holes)
    if found is None:
        return Ruling(chosen, None)
    side, finger, top = (
        None if limit is None else float(Fraction(limit))
        for limit in (found.side_oz, found.finger_thumb_oz, found.top_bottom_oz)
    )
    return Ruling(chosen, BalanceLimits(side, finger, top))


def judge_prediction(prediction: Prediction, ruling: Ruling | None) -> BalanceVerdict | None:
    """Returns the verdict over a predicted balance; None without a prediction or limits."""
    if prediction.balance is None or ruling is None:
        return None
    return judge_balance(prediction.balance, ruling.limits)


def list_unread(read: ReadBalance, limits: BalanceLimits | None) -> list[Direction]:
    """Returns the directions that have a limit and were not read."""
    pairs = zip(DIRECTIONS, read.ways, strict=True)
    return [d for d, way in pairs if way is None and limits and limits.find_limit_oz(d) is not None]


def judge_reading(read: ReadBalance, limits: BalanceLimits | None) -> BalanceVerdict | None:
    """Returns the verdict over the directions that were read; one with a limit and no reading leaves it open."""
    if limits is None or all(way is None for way in read.ways):
        return None
    own = (limits.right_left_oz, limits.finger_thumb_oz, limits.top_bottom_oz)
    known = BalanceLimits(*(limit if way is not None else None for limit, way in zip(own, read.ways, strict=True)))
    right, finger, top = (way or 0.0 for way in read.ways)
    found = judge_weighing(Ounces(right, finger, top, 0.0), NORMAL * read.u_oz, known)
    if found is None:
        return None
    told = tuple(one for one, way in zip(found.directions, read.ways, strict=True) if way is not None)
    state = "weigh it" if found.state == "inside" and list_unread(read, limits) else found.state
    return BalanceVerdict(state, told)
