"""One line of the bench's answer, what it is made from, and how its numbers are written."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

from app.measures.wording import inches
from app.models import DrillingStep
from app.models.plans import Plan
from app.services.shop_limits import ASSUMED, SetLimit

SAME_IN = 1e-9  # inches: rounding of doubles
AT_HEIGHT = "at its height"
CHANGED_IN = 0.0005  # inches: what changes by less is not told


@dataclass(frozen=True)
class Term:
    """One line of an answer: what was planned and what is now, in words, and whether that is beyond its limit."""

    what: str
    planned: str
    now: str
    is_beyond: bool
    limit: str = ""
    is_shimmed: bool = field(default=False, compare=False)  # that a bore is too deep is what a shim is for


@dataclass(frozen=True)
class Met:
    """What an answer is made from: the plan as specified, as met before a step and with it, and the shop's limits.

    `before` still holds what was planned of all that the step meets, with what was planned again since.
    `is_on_floor` says that the floor of the bore sets how high the sleeve stands.
    """

    specified: Plan
    before: Plan
    now: Plan
    step: DrillingStep
    limits: Mapping[str, SetLimit]
    is_on_floor: bool

    @property
    def trial_in(self) -> float:
        """How far the trial of an owned inner may lead from the planned depth, inches: its height is so uncertain.

        Infinite where no depth of it is known; 0 without an owned inner.
        """
        owned, bore = self.before.owned, self.before.bore
        if owned is None or bore is None:
            return 0.0
        if not owned.unknown:
            return owned.half_width_in
        return max(0.0, owned.depths_in[1] - bore.depth_in) if owned.depths_in else math.inf


def describe_limit(limit: SetLimit) -> str:
    """`± 1/64`, or `± 1/64, ASSUMED` where the shop has not set it."""
    return f"± {limit.typed}{f', {ASSUMED}' if limit.is_assumed else ''}"


def describe_pitch(forward_in: float, right_in: float) -> str:
    """`1/4 reverse, 1/8 left`; `straight`."""
    parts = ((forward_in, "forward", "reverse"), (right_in, "right", "left"))
    told = [f"{inches(abs(v))} {more if v > 0 else less}" for v, more, less in parts if abs(v) >= CHANGED_IN]
    return ", ".join(told) or "straight"


def describe_range(least_in: float, most_in: float) -> str:
    """`2 3/4`, or `2 3/4 to 2 7/8` where the two differ."""
    return inches(least_in) if most_in - least_in < CHANGED_IN else f"{inches(least_in)} to {inches(most_in)}"


def describe_stand(low_in: float, high_in: float) -> str:
    """How far something stands proud: `1/8 sunk`, `1/64 sunk to 1/32 proud`."""
    one, other = _describe_proud(low_in), _describe_proud(high_in)
    return one if one == other else f"{one} to {other}"


def _describe_proud(proud_in: float) -> str:
    if abs(proud_in) < CHANGED_IN:
        return AT_HEIGHT
    return f"{inches(abs(proud_in))} {'proud' if proud_in > 0 else 'sunk'}"
