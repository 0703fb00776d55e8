"""The arm of a shop's scale, found by taping a known mass on the ball and weighing with it and without it.

A two-way reading is a reading, and another with the ball turned half about: half their difference is the imbalance,
and the zero of the scale cancels (common practice; derived).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from app.calculation.balances import NORMAL
from app.calculation.errors import CannotBuildError
from app.calculation.units import radius_in

WORST_SHARE = 0.2  # ASSUMED: beyond this share of itself a change of reading is too small to tell an arm, no source


@dataclass(frozen=True, slots=True)
class TwoWayReading:
    """What the scale showed, and what it showed with the ball turned half about; ounces, signed."""

    first_oz: float
    turned_oz: float

    @property
    def imbalance_oz(self) -> float:
        """How much heavier the side is that the first reading weighs."""
        return (self.first_oz - self.turned_oz) / 2


@dataclass(frozen=True, slots=True)
class TapedMass:
    """A known mass taped where the scale weighs, on the measured axis: ounces and standard uncertainty, 0 or more.

    Its own middle stands `lift_in` inches above the ball's surface.
    """

    mass_oz: float
    standard_uncertainty_oz: float = 0.0
    lift_in: float = 0.0


@dataclass(frozen=True, slots=True)
class ScaleArm:
    """The arm in inches, its standard uncertainty, 95 % interval, and by how many ounces the mass moved the scale."""

    arm_in: float
    standard_uncertainty_in: float
    interval_in: tuple[float, float]
    change_oz: float


def calibrate_arm(
    circumference_in: float,
    mass: TapedMass,
    without: Sequence[TwoWayReading],
    with_mass: Sequence[TwoWayReading],
    reading_u_oz: float,
) -> ScaleArm:
    """The arm that makes the change of the imbalance what the mass does: arm = mass · (R + lift) / change.

    `reading_u_oz` is the standard uncertainty of one reading, its division's own included; the relative uncertainties
    of mass and change add in squares. Raises CannotBuildError without readings, or where the change is not well above
    their doubt. Source: statics, derived; JCGM 100:2008, 5.1.6.
    """
    for field, readings in (("without", without), ("with_mass", with_mass)):
        if not readings:
            raise CannotBuildError(field, "give at least one reading either way")
    change = _mean_oz(with_mass) - _mean_oz(without)
    change_u = reading_u_oz * math.sqrt((1 / len(without) + 1 / len(with_mass)) / 2)
    if change <= change_u / WORST_SHARE:
        raise CannotBuildError("with_mass", "the mass moved the scale by too little, or the other way: weigh it again")
    arm = mass.mass_oz * (radius_in(circumference_in) + mass.lift_in) / change
    u = arm * math.hypot(change_u / change, mass.standard_uncertainty_oz / mass.mass_oz)
    return ScaleArm(arm, u, (arm - NORMAL * u, arm + NORMAL * u), change)


def _mean_oz(readings: Sequence[TwoWayReading]) -> float:
    return math.fsum(reading.imbalance_oz for reading in readings) / len(readings)
