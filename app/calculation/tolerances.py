"""Measured against predicted."""

import math
from dataclasses import dataclass
from typing import Literal

from app.calculation.depths import NORMAL_FACTOR

Verdict = Literal["within", "long", "short"]

FINEST_DIVISION_IN = 0.001  # ASSUMED: the step of a dial or digital caliper; common practice, no source
_LARGEST_DOUBT_IN = 10.0  # more than a ball is wide: whoever stored more knows nothing, and squares stay finite
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


def floored_doubt_in(doubt_in: float, division_in: float = 0.0) -> float:
    """A standard uncertainty in inches that is usable: never below what the smallest division alone leaves, never 0.

    `doubt_in` is whatever was found or stored, `division_in` the smallest division read (inches; without one, or below
    it, FINEST_DIVISION_IN counts). Readings that agree say only that the spread is less than the division.
    Source: JCGM 100:2008 4.3.7 and F.2.2.1, division/√12.
    """
    return min(max(doubt_in, max(division_in, FINEST_DIVISION_IN) / math.sqrt(12)), _LARGEST_DOUBT_IN)


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
