"""What would bring a balance inside its limits: the grip moved on the ball, a hole of another depth or size.

Only what the driller allows is tried, in steps he can set, and every answer is the exact balance of the changed plan.
No remedy adds a hole. Holes and undrilled ball add up, so each is worked out once a step.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import combinations, product
from typing import Literal

from app.calculation.balance_verdicts import DIRECTIONS, BalanceLimits
from app.calculation.balances import Balance, Ounces, UndrilledBall, balance, weigh_hole
from app.calculation.errors import CannotBuildError
from app.calculation.removed import BalanceHole
from app.calculation.sphere import along_across_in, place
from app.calculation.units import radius_in

What = Literal["grip along", "grip across", "depth", "size"]
MOST_STEPS = 65  # of one change, nothing included
_SAME_OZ = 1e-9


@dataclass(frozen=True, slots=True)
class Allowed:
    """One change that the driller allows: from `low_in` (0 or less) to `high_in` (0 or more), in steps of `step_in`.

    The grip moves along (towards the fingers) or across (to the right) on the ball, every hole with it; depth and size
    are those of the hole at `hole`, its fills staying as they are.
    """

    what: What
    low_in: float
    high_in: float
    step_in: float
    hole: int | None = None

    def find_steps(self) -> list[float]:
        """Every change that may be tried, but none, inches; raises CannotBuildError for too many."""
        if self.step_in <= 0 or self.low_in > 0 or self.high_in < 0:
            raise CannotBuildError("allowed", "a range runs from zero or less to zero or more, by a step above zero")
        first, last = math.ceil(self.low_in / self.step_in - 1e-9), math.floor(self.high_in / self.step_in + 1e-9)
        if last - first >= MOST_STEPS:
            raise CannotBuildError("allowed", f"at most {MOST_STEPS} steps are tried; take a larger step")
        return [i * self.step_in for i in range(first, last + 1) if i]

    def find_share(self, change_in: float) -> float:
        """How much of what is allowed a change uses up, 0 to 1."""
        return change_in / (self.high_in if change_in > 0 else self.low_in)


Changes = tuple[tuple[Allowed, float], ...]


@dataclass(frozen=True, slots=True)
class Remedy:
    """Changes, at most two, that bring the balance inside, and the balance that they lead to.

    `size` is the share of what is allowed that they use up, added.
    """

    changes: Changes
    balance: Balance
    size: float


def find_remedies(
    ball: UndrilledBall,
    holes: Sequence[BalanceHole],
    limits: BalanceLimits,
    allowed: Sequence[Allowed],
    spare_oz: tuple[float, float, float] = (0.0, 0.0, 0.0),
    most: int = 8,
) -> list[Remedy]:
    """The smallest remedy by each allowed change, and by each pair of them where neither alone is enough.

    The value of each direction then lies inside its limit by at least its `spare_oz`: half the width of the interval,
    say, where the whole of it is to lie inside. One change comes before two, then the smaller. Empty where the balance
    is inside already or nothing allowed helps. Raises CannotBuildError as `balance`, or for what cannot be allowed.
    """
    goal = tuple(_less_spare(limits.find_limit_oz(d), spare) for d, spare in zip(DIRECTIONS, spare_oz, strict=True))
    for one in allowed:
        _check_allowed(one, len(holes))
    start = balance(ball, holes)
    if _is_inside(start.ounces, goal):
        return []
    tries = _Tries(ball, tuple(holes), start)
    found: list[Remedy] = []
    helped: set[Allowed] = set()
    for count in (1, 2):
        for chosen in combinations(allowed, count):
            if helped.isdisjoint(chosen):
                best = tries.find_smallest(chosen, goal)
                if best:
                    found.append(best)
                    helped.update(chosen if count == 1 else ())
    return sorted(found, key=lambda remedy: (len(remedy.changes), remedy.size))[:most]


def _check_allowed(one: Allowed, holes: int) -> None:
    if one.what in {"depth", "size"}:
        if one.hole is None or not 0 <= one.hole < holes:
            raise CannotBuildError("allowed", "there is no such hole")
    elif one.hole is not None:
        raise CannotBuildError("allowed", "the grip moves with all its holes")


def _less_spare(limit: float | None, spare: float) -> float:
    return math.inf if limit is None else limit - spare


def _is_inside(ounces: Ounces, goal: Sequence[float]) -> bool:
    return all(abs(value) <= most + _SAME_OZ for value, most in zip(ounces, goal, strict=False))


class _Tries:
    """Balances of changed plans: exact, with each part worked out once."""

    def __init__(self, ball: UndrilledBall, holes: tuple[BalanceHole, ...], start: Balance) -> None:
        self.ball, self.holes, self.start = ball, holes, start
        self.parts: dict[tuple[object, Changes], Ounces | None] = {}

    def find_smallest(self, chosen: Sequence[Allowed], goal: Sequence[float]) -> Remedy | None:
        """The smallest of the changes, each by one step or more, that is inside; the whole plan worked out again."""
        sized = sorted(self._list_changes(chosen), key=lambda each: each[0])
        for size, changes in sized:
            if (quick := self._weigh(changes)) is None or not _is_inside(quick, goal):
                continue
            try:
                exact = balance(*change_plan(self.ball, self.holes, changes))
            except CannotBuildError:
                continue
            if _is_inside(exact.ounces, goal):
                return Remedy(changes, exact, size)
        return None

    def _list_changes(self, chosen: Sequence[Allowed]) -> Iterator[tuple[float, Changes]]:
        for steps in product(*(one.find_steps() for one in chosen)):
            changes = tuple(zip(chosen, steps, strict=True))
            yield sum(one.find_share(step) for one, step in changes), changes

    def _weigh(self, changes: Changes) -> Ounces | None:
        """The balance from its parts; None where a changed hole cannot be."""
        total = self.start.ounces
        for key in {one.hole for one, _ in changes}:
            own = tuple(each for each in changes if each[0].hole == key)
            if (key, own) not in self.parts:
                self.parts[key, own] = self._find_difference(key, own)
            if (part := self.parts[key, own]) is None:
                return None
            total = total.plus(part)
        return total

    def _find_difference(self, hole: int | None, changes: Changes) -> Ounces | None:
        ball, holes = change_plan(self.ball, self.holes, changes)
        if hole is None:
            return balance(ball, ()).ounces.plus(balance(self.ball, ()).ounces, -1.0)
        try:
            taken, given = weigh_hole(holes[hole], ball)
        except CannotBuildError:
            return None
        before, put_in = weigh_hole(self.holes[hole], ball)
        return before.plus(taken, -1.0).plus(given).plus(put_in, -1.0)


def change_plan(
    ball: UndrilledBall, holes: Sequence[BalanceHole], changes: Changes
) -> tuple[UndrilledBall, tuple[BalanceHole, ...]]:
    """The undrilled ball seen from a grip that was moved along and then across, and the holes as changed."""
    changed = list(holes)
    moves = {one.what: step for one, step in changes if one.hole is None}
    for one, step in changes:
        if one.hole is not None:
            hole = changed[one.hole]
            bigger = {"depth_in": hole.depth_in + step} if one.what == "depth" else {"bore_in": hole.bore_in + step}
            changed[one.hole] = replace(hole, **bigger)  # type: ignore[arg-type]
    return move_grip(ball, moves.get("grip along", 0.0), moves.get("grip across", 0.0)), tuple(changed)


def move_grip(ball: UndrilledBall, along_in: float, across_in: float) -> UndrilledBall:
    """The undrilled ball seen from a grip centre that was moved on it: inches along the centre line, then across it.

    The holes keep their places from the grip centre, so it is the heavy spot that moves, the other way.
    """
    radius = radius_in(ball.circumference_in)
    x, y, z = place(ball.heavy_along_in - along_in, ball.heavy_across_in, radius)
    sin, cos = math.sin(across_in / radius), math.cos(across_in / radius)
    along, across = along_across_in((cos * x - sin * z, y, sin * x + cos * z), radius)
    return replace(ball, heavy_along_in=along, heavy_across_in=across)
