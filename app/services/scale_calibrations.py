"""The arm of a scale as its calibration tells it, what it counts with that nobody typed, and the questions it raises.

Where an arm was typed too, that one counts as long as both agree within their doubts.
"""

import math
from dataclasses import dataclass
from fractions import Fraction

from app.calculation.balances import NORMAL
from app.calculation.errors import CannotBuildError
from app.calculation.scale_arms import ScaleArm, TapedMass, TwoWayReading, calibrate_arm
from app.errors import InvalidError
from app.measures.wording import decimal, exact
from app.models import Scale
from app.services.read_balances import ASSUMED_STEP_OZ, find_reading_u_oz

ASSUMED_AROUND_IN = Fraction(27)  # ASSUMED: a ball's circumference that nobody wrote down, no source
FARTHEST_OFF_IN = 0.25  # ASSUMED: a mass so far off the measured axis changes the arm by less than 0.2 % (its cosine)
_KEPT_PLACES = 4  # decimals of an inch


@dataclass(frozen=True)
class Calibration:
    """The arm that the readings tell, and in words what was ASSUMED for it.

    `arm` is None where `unknown` names what nobody knows.
    """

    arm: ScaleArm | None
    assumed: tuple[str, ...] = ()
    unknown: str = ""

    @property
    def kept_in(self) -> tuple[Fraction, Fraction] | None:
        """The arm and its standard uncertainty as they are stored."""
        if self.arm is None:
            return None
        arm, doubt = (Fraction(f"{x:.{_KEPT_PLACES}f}") for x in (self.arm.arm_in, self.arm.standard_uncertainty_in))
        return arm, doubt


def work_out(of: Scale) -> Calibration | None:
    """Returns what a scale's calibration tells; None where it was not calibrated by two-way readings.

    Raises InvalidError at the field that is to be looked at again.
    """
    read = of.without_first_oz, of.without_turned_oz, of.taped_first_oz, of.taped_turned_oz
    if any(value is None for value in read):
        return None
    if of.mass_oz is None:
        return Calibration(None, unknown="its mass is unknown")
    if of.place_in is None and of.typed.get("place"):
        return Calibration(None, unknown="the place of the mass is unknown")
    around_in = float(of.circumference_in or ASSUMED_AROUND_IN)
    _require_on_axis(of, around_in)
    doubt_oz, words = _find_mass_doubt(of, of.mass_oz)
    without, taped = (TwoWayReading(float(a or 0), float(b or 0)) for a, b in (read[:2], read[2:]))
    mass = TapedMass(float(of.mass_oz), float(doubt_oz), float(of.lift_in or 0))
    step_oz = None if of.resolution_oz is None else float(of.resolution_oz)
    try:
        arm = calibrate_arm(around_in, mass, [without], [taped], find_reading_u_oz(step_oz))
    except CannotBuildError:
        raise InvalidError.at("taped_first", _ask_again(taped.imbalance_oz - without.imbalance_oz)) from None
    return Calibration(arm, (*words, *_list_assumed(of)))


def _require_on_axis(of: Scale, around_in: float) -> None:
    if of.place_in is not None and abs(float(of.place_in) - around_in / 4) > FARTHEST_OFF_IN:
        quarter = exact(Fraction(around_in) / 4)
        words = f"The scale weighs a quarter round from the top, at {quarter} in. Was it taped there?"
        raise InvalidError.at("place", words, quarter)


def _find_mass_doubt(of: Scale, mass_oz: Fraction) -> tuple[Fraction, tuple[str, ...]]:
    """The standard uncertainty of the mass, and what is ASSUMED of it."""
    if of.mass_doubt_oz is not None:
        return of.mass_doubt_oz, ()
    step_oz = of.mass_step_oz or of.resolution_oz or Fraction(ASSUMED_STEP_OZ)
    whose = "its scale’s division" if of.mass_step_oz else "this scale’s division" if of.resolution_oz else "1/8 oz"
    doubt_oz = min(step_oz / 2, mass_oz)
    return doubt_oz, (f"doubt of the mass {decimal(doubt_oz, 3)} oz, half of {whose}",)


def _list_assumed(of: Scale) -> list[str]:
    found = []
    if of.resolution_oz is None:
        found.append("smallest division 1/8 oz")
    if of.circumference_in is None:
        found.append(f"ball {ASSUMED_AROUND_IN} in around")
    if of.place_in is None:
        found.append("taped where the scale weighs")
    if of.lift_in is None:
        found.append("the mass’s middle at the surface")
    return found


def _ask_again(change_oz: float) -> str:
    if change_oz < 0:
        return f"With the mass the other side became heavier, by {decimal(-change_oz, 2)} oz. Is a minus amiss?"
    return (
        f"The mass moved the scale by {decimal(change_oz, 2)} oz, too little to tell an arm. "
        "Is a minus missing? Else take a heavier mass."
    )


def settle_arm(of: Scale) -> None:
    """Gives a scale the arm that its calibration tells, where none was typed.

    Raises InvalidError where the typed one is another, or where the calibration raises a question.
    """
    found = work_out(of)
    if found is None or found.arm is None or found.kept_in is None:
        return
    if of.arm_in is None:
        of.arm_in, of.arm_u_in = found.kept_in
        return
    apart_in = abs(float(of.arm_in) - found.arm.arm_in)
    if apart_in > NORMAL * math.hypot(float(of.arm_u_in or 0), found.arm.standard_uncertainty_in):
        told, doubt = (decimal(x, 3) for x in (found.arm.arm_in, NORMAL * found.arm.standard_uncertainty_in))
        words = (
            f"The calibration tells {told} ± {doubt} in (95 %). Empty the arm to take that, or look at the readings."
        )
        raise InvalidError.at("arm", words, told)
    if of.arm_u_in is None and not of.typed.get("arm_doubt"):
        of.arm_u_in = found.kept_in[1]
