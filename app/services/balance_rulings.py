"""What a regulation says of a balance: its limits for a ball of this weight and these holes, and the verdict.

A ball belongs to the weight class of its weight as drilled (ASSUMED: the texts that were seen do not say); one whose
weight may lie in either of two classes is judged under both. Without a regulation there is no verdict. The official's
scale and the rules in force decide.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from fractions import Fraction

from sqlalchemy.orm import Session

from app.calculation.balance_verdicts import (
    DIRECTIONS,
    BalanceLimits,
    BalanceVerdict,
    Direction,
    combine_verdicts,
    judge_balance,
    judge_weighing,
)
from app.calculation.balances import NORMAL, Ounces
from app.models import Regulation
from app.schemas.regulations import RegulationBody
from app.services import regulations
from app.services.balances import Prediction
from app.services.read_balances import ReadBalance


@dataclass(frozen=True)
class Ruling:
    """A regulation with its limits for one ball; `limits` is None where it says nothing of such a ball.

    `others` are those of the weight classes that the ball may belong to as well, within the doubt of its weight.
    `needs_plus` says that this ball has to bear a plus, for it has no thumb hole. `not_in_force` says why one that was
    chosen is not in force: its limits are looked at, and nothing is judged.
    """

    regulation: Regulation
    limits: BalanceLimits | None
    others: tuple[BalanceLimits | None, ...] = ()
    needs_plus: bool = False
    not_in_force: str = ""

    @property
    def strictest(self) -> BalanceLimits | None:
        """The least of each limit among the classes that the ball may belong to."""
        if self.limits is None:
            return None
        known = [self.limits, *(of for of in self.others if of)]
        own = [[limit for of in known if (limit := of.find_limit_oz(d)) is not None] for d in DIRECTIONS]
        return BalanceLimits(*(min(each, default=None) for each in own))


def list_choices(session: Session, on: date) -> Sequence[Regulation]:
    """Returns the regulations in force on a day, those that the shop typed first."""
    return regulations.list_in_force(session, on)


def find_ruling(
    session: Session, on: date, regulation_id: int | None, weight_oz: float, has_thumb: bool, weight_u_oz: float = 0.0
) -> Ruling | None:
    """Returns the chosen regulation, else the first in force with limits for such a ball; None where none is in force.

    Where none in force has limits for it, the first one is returned without any.
    """
    listed = [regulations.get_regulation(session, regulation_id)] if regulation_id else list_choices(session, on)
    found = [
        replace(_rule(of, weight_oz, has_thumb, weight_u_oz), not_in_force=regulations.tell_not_in_force(of, on))
        for of in listed
    ]
    return next((one for one in found if one.limits), next(iter(found), None))


def _rule(of: Regulation, weight_oz: float, has_thumb: bool, weight_u_oz: float) -> Ruling:
    body, apart_oz = regulations.read_body(of), NORMAL * weight_u_oz
    limits, *ends = (_find_limits(body, weight_oz + by, has_thumb) for by in (0.0, -apart_oz, apart_oz))
    others = tuple(one for one in dict.fromkeys(ends) if one != limits)
    return Ruling(of, limits, others, not has_thumb and bool(body.needs_plus_without_thumb))


def _find_limits(body: RegulationBody, weight_oz: float, has_thumb: bool) -> BalanceLimits | None:
    found = body.find_class(Fraction(weight_oz).limit_denominator(1_000), has_thumb)
    if found is None:
        return None
    own = (found.side_oz, found.finger_thumb_oz, found.top_bottom_oz)
    return BalanceLimits(*(None if limit is None else float(Fraction(limit)) for limit in own))


def judge_prediction(prediction: Prediction, ruling: Ruling | None) -> BalanceVerdict | None:
    """Returns the verdict over a predicted balance; None without a prediction, or limits that are in force.

    Where its layout is in doubt it is never inside.
    """
    found = prediction.balance
    if found is None or ruling is None:
        return None
    verdict = _judge_each(ruling, lambda limits: judge_balance(found, limits))
    is_doubtful = verdict is not None and verdict.state == "inside" and prediction.layout_doubt
    return replace(verdict, state="weigh it") if verdict and is_doubtful else verdict


def judge_weighed(read: ReadBalance, ruling: Ruling) -> BalanceVerdict | None:
    """Returns the verdict over what was read, as `judge_reading`."""
    return _judge_each(ruling, lambda limits: judge_reading(read, limits))


def _judge_each(
    ruling: Ruling, judge: Callable[[BalanceLimits | None], BalanceVerdict | None]
) -> BalanceVerdict | None:
    """The verdict under every class that the ball may belong to: weigh it where they differ."""
    if ruling.not_in_force:
        return None
    found = judge(ruling.limits)
    for other in ruling.others if found else ():
        found = combine_verdicts(found, judge(other)) if found else None
    return found


def list_unread(read: ReadBalance, limits: BalanceLimits | None) -> list[Direction]:
    """Returns the directions that have a limit and were not read."""
    pairs = zip(DIRECTIONS, read.ways, strict=True)
    return [d for d, way in pairs if way is None and limits and limits.find_limit_oz(d) is not None]


def list_once(read: ReadBalance, verdict: BalanceVerdict | None) -> list[Direction]:
    """Returns the directions left open that were read one way round only: another reading may settle them."""
    once = {d for d, is_once in zip(DIRECTIONS, read.is_once, strict=True) if is_once}
    told = verdict.directions if verdict else ()
    return [one.direction for one in told if one.direction in once and one.state == "weigh it"]


def judge_reading(read: ReadBalance, limits: BalanceLimits | None) -> BalanceVerdict | None:
    """Returns the verdict over the directions that were read; one with a limit and no reading leaves it open."""
    if limits is None or all(way is None for way in read.ways):
        return None
    own = (limits.right_left_oz, limits.finger_thumb_oz, limits.top_bottom_oz)
    known = BalanceLimits(*(limit if way is not None else None for limit, way in zip(own, read.ways, strict=True)))
    right, finger, top = (way or 0.0 for way in read.ways)
    found = judge_weighing(Ounces(right, finger, top, 0.0), read.half_widths_oz, known)
    if found is None:
        return None
    told = tuple(one for one, way in zip(found.directions, read.ways, strict=True) if way is not None)
    state = "weigh it" if found.state == "inside" and list_unread(read, limits) else found.state
    return BalanceVerdict(state, told)
