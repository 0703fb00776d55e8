"""What a rule set's limits say of a balance: inside, outside, or weigh it. The official's scale and rules decide.

Limits are data that a shop gives; without them there is no verdict. A limit is inclusive. (ASSUMED; texts say "not
more than".)
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

from app.calculation.balances import Balance, Ounces

State = Literal["inside", "outside", "weigh it"]
Direction = Literal["right_left", "finger_thumb", "top_bottom"]
DIRECTIONS: tuple[Direction, ...] = ("right_left", "finger_thumb", "top_bottom")  # in the order of `Ounces`
_SAME_OZ = 1e-9


@dataclass(frozen=True, slots=True)
class BalanceLimits:
    """The most by which one half of a ball may be heavier than the other, ounces, 0 or more; None is no limit."""

    right_left_oz: float | None
    finger_thumb_oz: float | None
    top_bottom_oz: float | None

    def find_limit_oz(self, direction: Direction) -> float | None:
        """The limit between the two halves of a direction."""
        return {
            "right_left": self.right_left_oz,
            "finger_thumb": self.finger_thumb_oz,
            "top_bottom": self.top_bottom_oz,
        }[direction]

    @property
    def unlimited(self) -> tuple[Direction, ...]:
        """The directions without a limit: a verdict says nothing of them."""
        return tuple(direction for direction in DIRECTIONS if self.find_limit_oz(direction) is None)


@dataclass(frozen=True, slots=True)
class DirectionVerdict:
    """One direction: its value, its limit, and how far the value is inside it (negative = outside), ounces.

    `least_margin_oz` is the margin that is left at the worse end of the interval. Without a limit both are None.
    """

    direction: Direction
    state: State
    value_oz: float
    interval_oz: tuple[float, float]
    limit_oz: float | None
    margin_oz: float | None
    least_margin_oz: float | None


@dataclass(frozen=True, slots=True)
class BalanceVerdict:
    """The verdict over all directions; outside in one is outside, and a doubt in one is a doubt in all."""

    state: State
    directions: tuple[DirectionVerdict, ...]


def judge_balance(found: Balance, limits: BalanceLimits | None) -> BalanceVerdict | None:
    """The verdict over a predicted balance; None without limits.

    A prediction without an interval is never inside: where it does not name its doubts, it says weigh it.
    """
    if limits is None:
        return None
    intervals = [found.find_interval(i) for i in range(len(DIRECTIONS))]
    return _judge(found.ounces, intervals, limits)


def judge_weighing(
    weighed: Ounces, half_widths_oz: Sequence[float], limits: BalanceLimits | None
) -> BalanceVerdict | None:
    """The verdict over a weighed ball, each direction good to ± its half width (95 %); None without limits."""
    if limits is None:
        return None
    pairs = zip(weighed[: len(DIRECTIONS)], half_widths_oz, strict=True)
    return _judge(weighed, [(value - half, value + half) for value, half in pairs], limits)


def combine_verdicts(verdict: BalanceVerdict, other: BalanceVerdict | None) -> BalanceVerdict:
    """The verdict over a ball that may belong to either of two weight classes: weigh it where they differ.

    Each direction keeps the numbers of the one with less to spare. None is a class without limits: weigh it.
    """
    if other is None:
        return BalanceVerdict("weigh it", verdict.directions)
    pairs = zip(verdict.directions, other.directions, strict=True)
    each = tuple(_combine(one, another) for one, another in pairs)
    return BalanceVerdict(verdict.state if verdict.state == other.state else "weigh it", each)


def _combine(one: DirectionVerdict, other: DirectionVerdict) -> DirectionVerdict:
    margins = [math.inf if of.margin_oz is None else of.margin_oz for of in (one, other)]
    stricter = one if margins[0] <= margins[1] else other
    return stricter if one.state == other.state else replace(stricter, state="weigh it")


def _judge(ounces: Ounces, intervals: Sequence[tuple[float, float] | None], limits: BalanceLimits) -> BalanceVerdict:
    each = tuple(
        _judge_direction(direction, ounces[i], intervals[i], limits.find_limit_oz(direction))
        for i, direction in enumerate(DIRECTIONS)
    )
    states = {one.state for one in each}
    state: State = "outside" if "outside" in states else "weigh it" if "weigh it" in states else "inside"
    return BalanceVerdict(state, each)


def _judge_direction(
    direction: Direction, value: float, interval: tuple[float, float] | None, limit: float | None
) -> DirectionVerdict:
    low, high = interval or (value, value)
    if limit is None:
        return DirectionVerdict(direction, "inside", value, (low, high), None, None, None)
    worst = max(-low, high)
    best = 0.0 if low <= 0 <= high else min(abs(low), abs(high))
    state: State = "weigh it"
    if best > limit + _SAME_OZ:
        state = "outside"
    elif worst <= limit + _SAME_OZ and interval is not None:
        state = "inside"
    return DirectionVerdict(direction, state, value, (low, high), limit, limit - abs(value), limit - worst)
