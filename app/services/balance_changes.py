"""What would bring a balance inside its limits, by changes that the driller allows; a new hole is never one of them.

The grip may move on the ball, a hole may be shallower or deeper, and a hole that nothing is put into may be of another
size: what goes into a bore is made for it. A thumb's bore is as deep as what stands on its floor, too; under a finger
insert the bit may go deeper. Old holes stay as they are.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from app.calculation.balance_remedies import Allowed, Remedy, What, change_plan, find_remedies
from app.calculation.balance_verdicts import DIRECTIONS, BalanceLimits, State, judge_balance
from app.calculation.balances import Balance, balance
from app.calculation.errors import CannotBuildError
from app.errors import InvalidError
from app.measures.reading import Reading
from app.measures.wording import nearest_64th, plain_fraction
from app.services.balance_holes import NamedHole
from app.services.balances import Prediction

_STEPS_IN = {"depth": 1 / 16, "size": 1 / 64}
_GRIP_STEP_IN = 1 / 16


@dataclass(frozen=True)
class Change:
    """Something that may change: its name in the form, and what it is called."""

    name: str
    words: str
    usual: str  # how far is offered first


@dataclass(frozen=True)
class ToldRemedy:
    """A remedy in words, the balance that it leads to, and whether all of its interval lies inside then."""

    words: tuple[str, ...]
    balance: Balance
    state: State


def list_changes(prediction: Prediction) -> list[Change]:
    """Returns what a driller may let change in this plan."""
    found = [
        Change("along", "Grip along the centre line", "1/2"),
        Change("across", "Grip across it", "1/2"),
    ]
    for i, one in enumerate(prediction.holes):
        if one.name.startswith("old "):
            continue
        if one.hole.digit == "finger" or not one.hole.fills:
            found.append(Change(f"depth_{i}", f"Depth of the {one.name}", "1/4"))
        if not one.hole.fills:
            found.append(Change(f"size_{i}", f"Size of the {one.name}", "1/16"))
    return found


def solve(prediction: Prediction, limits: BalanceLimits, far: Mapping[str, Reading[Fraction]]) -> list[ToldRemedy]:
    """Returns the remedies, those first after which all of the interval lies inside; raises InvalidError."""
    offered = {change.name for change in list_changes(prediction)}
    allowed = [_allow(name, float(of.given)) for name, of in far.items() if name in offered]
    if prediction.ball is None or prediction.balance is None or not allowed:
        return []
    holes = [one.hole for one in prediction.holes]
    ends = [prediction.balance.find_interval(i) for i in range(len(DIRECTIONS))]
    right, finger, top = ((end[1] - end[0]) / 2 if end else 0.0 for end in ends)
    try:
        found = find_remedies(prediction.ball, holes, limits, allowed, (right, finger, top))
        found = found or find_remedies(prediction.ball, holes, limits, allowed)
    except CannotBuildError as error:
        raise InvalidError.at("far_" + next(iter(far)), f"{error.message[0].upper()}{error.message[1:]}.") from None
    return [_tell(remedy, prediction, limits) for remedy in found]


def _allow(name: str, far_in: float) -> Allowed:
    what, _, hole = name.partition("_")
    if not hole:
        return Allowed("grip along" if what == "along" else "grip across", -far_in, far_in, _GRIP_STEP_IN)
    kind: What = "depth" if what == "depth" else "size"
    return Allowed(kind, -far_in, far_in, _STEPS_IN[kind], int(hole))


def _tell(remedy: Remedy, prediction: Prediction, limits: BalanceLimits) -> ToldRemedy:
    ball, holes = prediction.ball, [one.hole for one in prediction.holes]
    changed = balance(*change_plan(ball, holes, remedy.changes), prediction.uncertainty) if ball else remedy.balance
    verdict = judge_balance(changed, limits)
    words = tuple(_word(one, change_in, prediction.holes) for one, change_in in remedy.changes)
    return ToldRemedy(words, changed, verdict.state if verdict else "weigh it")


def _word(one: Allowed, change_in: float, holes: Sequence[NamedHole]) -> str:
    """A change as an order: `Move the grip 1/4 in towards the fingers`."""
    size = f"{plain_fraction(nearest_64th(abs(change_in)))} in"
    is_more = change_in > 0
    if one.hole is None:
        ways = (
            ("towards the fingers", "towards the thumb")
            if one.what == "grip along"
            else ("to the right", "to the left")
        )
        return f"Move the grip {size} {ways[0 if is_more else 1]}"
    what = ("deeper", "shallower") if one.what == "depth" else ("wider", "narrower")
    return f"Drill the {holes[one.hole].name} {size} {what[0 if is_more else 1]}"
