"""Measured against predicted."""

from dataclasses import dataclass
from typing import Literal

from app.calculation.depths import NORMAL_FACTOR

Verdict = Literal["within", "long", "short"]

_EQUAL = 1e-9  # inches: a difference of exactly the tolerance is within it


@dataclass(frozen=True)
class Deviation:
    """Measured less predicted in inches (long is positive), and whether that is within the tolerance."""

    predicted_in: float
    measured_in: float
    difference_in: float
    verdict: Verdict


def deviation(predicted_in: float, measured_in: float, tolerance_in: float) -> Deviation:
    """Compares a measured length with the predicted one; `tolerance_in` (inches, ≥ 0) is inclusive."""
    difference = measured_in - predicted_in
    if abs(difference) <= tolerance_in + _EQUAL:
        verdict: Verdict = "within"
    else:
        verdict = "long" if difference > 0 else "short"
    return Deviation(predicted_in, measured_in, difference, verdict)


def needs_another_reading(of: Deviation, tolerance_in: float, spread_in: float) -> bool:
    """Whether the 95 % interval of one reading straddles the tolerance: neither inside nor outside can be told.

    `spread_in` is the standard uncertainty of the reading, inches, ≥ 0. Source: the guard band of ILAC-G8:09/2019.
    """
    return abs(abs(of.difference_in) - tolerance_in) < NORMAL_FACTOR * spread_in
