"""What a weighing tells: the mean of the readings each way with its doubt, as its own or another scale would show it.

A scale shows a moment over its arm, so a reading of one scale times its arm is the moment, whatever scale reads next.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from app.calculation.balances import NORMAL
from app.models import Scale, Weighing

READ_ONCE_U_OZ = 1 / 16  # ASSUMED: repeat spread of one reading of a two-way scale, no source
ASSUMED_STEP_OZ = 1 / 8  # ASSUMED: the smallest division of a scale that nobody wrote down
ZERO_U_OZ = 1 / 8  # ASSUMED: how far the zero of a scale is off; it cancels where the ball is turned half about
ARM_U_SHARE = 0.05  # ASSUMED: of an arm that was not calibrated, or that nobody gave a doubt of; no source
Each = tuple[float, float, float]


@dataclass(frozen=True)
class ReadBalance:
    """A weighing: the mean of the readings each way (right, finger, top; None not read), ounces, and their doubt.

    `each_u_oz` are their standard uncertainties by repeat, division and zero, 0 where not read; `arm_share` is the
    arm's, a share that all of them err by alike. `is_once` says which was read one way round only: its zero counts.
    """

    ways: tuple[float | None, float | None, float | None]
    each_u_oz: Each
    weight_oz: float | None
    arm_share: float = 0.0
    is_once: tuple[bool, bool, bool] = (False, False, False)

    @property
    def u_oz(self) -> float:
        """The largest doubt of what was read, the arm's apart."""
        return max((u for u, way in zip(self.each_u_oz, self.ways, strict=True) if way is not None), default=0.0)

    @property
    def half_widths_oz(self) -> Each:
        """Half of the 95 % interval each way, the arm's doubt in it. Source: JCGM 100:2008, 5.1.6."""
        arms = [self.arm_share * (way or 0.0) for way in self.ways]
        right, finger, top = (NORMAL * math.hypot(u, by) for u, by in zip(self.each_u_oz, arms, strict=True))
        return right, finger, top


def read_weighing(of: Weighing) -> ReadBalance:
    """Returns what a weighing tells."""
    weight_oz = None if of.weight_oz is None else float(of.weight_oz)
    pairs = ((of.right_1_oz, of.right_2_oz), (of.finger_1_oz, of.finger_2_oz), (of.top_1_oz, of.top_2_oz))
    return average(pairs, weight_oz, of.scale)


def average(
    pairs: Sequence[tuple[Fraction | None, Fraction | None]], weight_oz: float | None, scale: Scale | None
) -> ReadBalance:
    """The means of two readings each way on a scale, and their doubt."""
    read = [[float(value) for value in pair if value is not None] for pair in pairs]
    right, finger, top = (math.fsum(values) / len(values) if values else None for values in read)
    step_oz = None if scale is None or scale.resolution_oz is None else float(scale.resolution_oz)
    one_u_oz = find_reading_u_oz(step_oz)
    is_once = [len(values) == 1 for values in read]
    each = [one_u_oz / math.sqrt(len(values)) if values else 0.0 for values in read]
    each = [math.hypot(u, ZERO_U_OZ) if once else u for u, once in zip(each, is_once, strict=True)]
    arm_in, arm_u_in = (scale.arm_in, scale.arm_u_in) if scale else (None, None)
    share = ARM_U_SHARE if arm_in is None or arm_u_in is None else float(arm_u_in / arm_in)
    return ReadBalance(
        (right, finger, top), (each[0], each[1], each[2]), weight_oz, share, (is_once[0], is_once[1], is_once[2])
    )


def find_reading_u_oz(step_oz: float | None) -> float:
    """The standard uncertainty of one reading of a scale with this division (None: nobody wrote it down).

    Source of the division's part: JCGM 100:2008, 4.3.7 (step / √12).
    """
    return math.hypot((ASSUMED_STEP_OZ if step_oz is None else step_oz) / math.sqrt(12), READ_ONCE_U_OZ)


def carry_each(
    read: ReadBalance, read_on: Scale, told_on: Scale | None, radius_in: float
) -> list[tuple[float, float] | None]:
    """Returns the readings of one scale each way as another would show them, with their doubts; None not read.

    The doubt of neither arm is in them. A scale without an arm, and none, count with the ball's radius.
    """
    arm_in, own_in = (float(of.arm_in) if of and of.arm_in else radius_in for of in (read_on, told_on))
    ratio = arm_in / own_in if is_of_another(read_on, told_on) else 1.0
    pairs = zip(read.ways, read.each_u_oz, strict=True)
    return [None if way is None else (way * ratio, u_oz * ratio) for way, u_oz in pairs]


def find_arm_share(read_on: Scale, told_on: Scale | None) -> float:
    """The doubt of the arm that readings were taken on, as a share of it; 0 where the same scale tells them."""
    if not is_of_another(read_on, told_on) or not read_on.arm_in:
        return 0.0
    return float((read_on.arm_u_in or 0) / read_on.arm_in)


def is_of_another(read_on: Scale, told_on: Scale | None) -> bool:
    """Whether a reading is told by another scale, or by none."""
    return told_on is None or told_on.id != read_on.id


def is_by_two_arms(read_on: Scale, told_on: Scale | None) -> bool:
    """Whether two arms count in a reading of one scale as another would show it."""
    return is_of_another(read_on, told_on) and bool(read_on.arm_in or (told_on and told_on.arm_in))
