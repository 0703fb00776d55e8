"""What a weighing tells: the mean of the readings each way with its doubt, as its own or another scale would show it.

A scale shows a moment over its arm, so a reading of one scale times its arm is the moment, whatever scale reads next.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from app.models import Scale, Weighing

READ_ONCE_U_OZ = 1 / 16  # ASSUMED: repeat spread of one reading of a two-way scale, no source
ASSUMED_STEP_OZ = 1 / 8  # ASSUMED: the smallest division of a scale that nobody wrote down


@dataclass(frozen=True)
class ReadBalance:
    """A weighing: the mean of the readings each way (right, finger, top; None not read), ounces, and their doubt.

    `u_oz` is the standard uncertainty of the least often read of them.
    """

    ways: tuple[float | None, float | None, float | None]
    u_oz: float
    weight_oz: float | None


def read_weighing(of: Weighing) -> ReadBalance:
    """Returns what a weighing tells."""
    weight_oz = None if of.weight_oz is None else float(of.weight_oz)
    pairs = ((of.right_1_oz, of.right_2_oz), (of.finger_1_oz, of.finger_2_oz), (of.top_1_oz, of.top_2_oz))
    return average(pairs, weight_oz, None if of.scale.resolution_oz is None else float(of.scale.resolution_oz))


def average(
    pairs: Sequence[tuple[Fraction | None, Fraction | None]], weight_oz: float | None, step_oz: float | None
) -> ReadBalance:
    """The means of two readings each way, and their doubt."""
    read = [[float(value) for value in pair if value is not None] for pair in pairs]
    right, finger, top = (math.fsum(values) / len(values) if values else None for values in read)
    least = min((len(values) for values in read if values), default=1)
    return ReadBalance((right, finger, top), find_reading_u_oz(step_oz) / math.sqrt(least), weight_oz)


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
    return [None if way is None else (way * ratio, read.u_oz * ratio) for way in read.ways]


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
