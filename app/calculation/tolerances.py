"""Measured against predicted."""

from dataclasses import dataclass
from typing import Literal

from app.calculation.depths import NORMAL_FACTOR

Verdict = Literal["within", "long", "short"]

_EQUAL = 1e-9  # inches: a difference of exactly the tolerance is within it


@dataclass(frozen=True)
class Deviation:
    """Measured less predicted in inches (long is positive), and whether that is within the tolerance.

    Not settled: the reading's 95 % interval straddles the tolerance, so inside or outside cannot be told.
    """

    predicted_in: float
    measured_in: float
    difference_in: float
    verdict: Verdict
    is_settled: bool


def reading_half_width_in(spread_in: float) -> float:
    """Half of one reading's 95 % interval from its standard uncertainty, inches, ≥ 0."""
    return NORMAL_FACTOR * spread_in


def deviation(predicted_in: float, measured_in: float, tolerance_in: float, spread_in: float = 0.0) -> Deviation:
    """Compares a measured length with the predicted one; `tolerance_in` (inches, ≥ 0) is inclusive.

    `spread_in` is the standard uncertainty of the reading, inches, ≥ 0. Source: the guard band of ILAC-G8:09/2019.
    """
    difference = measured_in - predicted_in
    if abs(difference) <= tolerance_in + _EQUAL:
        verdict: Verdict = "within"
    else:
        verdict = "long" if difference > 0 else "short"
    is_settled = abs(abs(difference) - tolerance_in) >= reading_half_width_in(spread_in)
    return Deviation(predicted_in, measured_in, difference, verdict, is_settled)
