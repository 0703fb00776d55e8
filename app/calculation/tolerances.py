"""Measured against predicted.

A reading nearer to the tolerance than its own 95 % half-width does not settle a verdict: it gets no tick and asks to
be measured again. Repeated pairs count as their mean, and every further look widens the coverage that is asked. The
rim of an inner is judged by one rule wherever it is shown: `judge_rim`.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from app.calculation.depths import COVERAGE, NORMAL_FACTOR, student_factor

Verdict = Literal["within", "long", "short"]
RimVerdict = Literal["flush", "proud", "sunk", "leans", "measure"]

FINEST_DIVISION_IN = 0.001  # ASSUMED: the step of a dial or digital caliper; common practice, no source
STATED_FREEDOM = 8.0  # ASSUMED: degrees of freedom of a spread that is stated, where readings are pooled with it
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


def reading_half_width_in(spread_in: float, freedom: float = math.inf) -> float:
    """Half of one reading's 95 % interval from its standard uncertainty and degrees of freedom (> 0), inches, ≥ 0."""
    return spread_in * (NORMAL_FACTOR if math.isinf(freedom) else student_factor(freedom))


@dataclass(frozen=True)
class RepeatedReading:
    """The mean of readings of one length, how many they are, its standard uncertainty and interval, inches."""

    mean_in: float
    count: int
    standard_uncertainty_in: float
    half_width_in: float


def repeated_reading(
    readings_in: Sequence[float], spread_in: float, freedom: float = math.inf, division_in: float = 0.0
) -> RepeatedReading:
    """One or more readings of one length by one gauge, as far as they were taken until now.

    `spread_in` is the gauge's standard uncertainty of one reading with its degrees of freedom, pooled with the
    readings' own spread (a stated one counts STATED_FREEDOM there); the mean is never surer than division/√12, which
    repeating does not average out. The n-th look has coverage 1 − 0.05/n, since who measures until the verdict pleases
    looks n times; so a length at the limit is passed no oftener, however often it is measured.
    Source: JCGM 100:2008 4.2.4, 4.3.7, G.4; Bonferroni's inequality for the looks.
    """
    count, mean = len(readings_in), math.fsum(readings_in) / len(readings_in)
    if count == 1:
        u = floored_doubt_in(spread_in, division_in)
        return RepeatedReading(mean, 1, u, reading_half_width_in(u, freedom))
    prior = STATED_FREEDOM if math.isinf(freedom) else freedom
    pooled = prior + count - 1
    squares = prior * spread_in**2 + math.fsum((r - mean) ** 2 for r in readings_in)
    u = floored_doubt_in(math.sqrt(squares / pooled / count), division_in)
    return RepeatedReading(mean, count, u, u * student_factor(pooled, 1 - (1 - COVERAGE) / count))


def deviation(predicted_in: float, measured_in: float, tolerance_in: float, half_width_in: float = 0.0) -> Deviation:
    """Compares a measured length with the predicted one; `tolerance_in` (inches, ≥ 0) is inclusive.

    `half_width_in` is half of the reading's 95 % interval, ≥ 0. Source: the guard band of ILAC-G8:09/2019.
    """
    difference = measured_in - predicted_in
    if abs(difference) <= tolerance_in + _EQUAL:
        verdict: Verdict = "within"
    else:
        verdict = "long" if difference > 0 else "short"
    is_settled = abs(abs(difference) - tolerance_in) >= half_width_in
    return Deviation(predicted_in, measured_in, difference, verdict, is_settled)


def judge_rim(
    lowest_in: float, highest_in: float, half_width_in: float, lip_in: float, is_range: bool = False
) -> RimVerdict:
    """What to call a rim from its lowest and highest place, inches proud (negative = sunk), against the largest lip.

    `half_width_in` (≥ 0) is half of the 95 % interval of its height, which moves it up or down as a whole; `lip_in`
    (≥ 0) is inclusive. `flush` and the others are said only where the whole interval is on that side of the limit, else
    `measure`. `leans` is over the limit both ways: no depth cures it. With `is_range` the two places are the extremes
    of all rims that are possible over something unknown: never flush, and proud or sunk only if each is so all round.
    Source: the guard band of ILAC-G8:09/2019, as `deviation`.
    """
    if is_range:
        if lowest_in - half_width_in > lip_in:
            return "proud"
        return "sunk" if highest_in + half_width_in < -lip_in else "measure"
    worst = max(abs(highest_in), abs(lowest_in))
    if worst + half_width_in <= lip_in:
        return "flush"
    if worst - half_width_in <= lip_in:
        return "measure"
    if min(highest_in, -lowest_in) > lip_in:
        return "leans"
    return "proud" if highest_in > -lowest_in else "sunk"
