"""Lengths of the trade: inches, millimetres, 64ths, and the ball's radius."""

import math
from fractions import Fraction

MM_PER_INCH = Fraction(254, 10)  # exact by definition: international inch, 1959
SIXTY_FOURTH = Fraction(1, 64)


def radius_in(circumference_in: float) -> float:
    """Ball radius in inches of a ball `circumference_in` around (inches, > 0). A 27 in ball: 4.29718."""
    return circumference_in / (2 * math.pi)


def millimetres(length_in: float | Fraction) -> float:
    """Length in millimetres of `length_in` inches, any sign."""
    return float(length_in) * float(MM_PER_INCH)


def sixty_fourths(length_in: float | Fraction) -> float:
    """Length in 64ths of an inch of `length_in` inches, signed, not rounded."""
    return float(length_in) * 64


def pitch_deg(pitch_in: float, circumference_in: float) -> float:
    """Angle in degrees between a hole's axis and the ball's radius, of a pitch in inches (|pitch| < radius).

    Pitch is the distance by which the axis misses the ball's centre, so the angle is asin(pitch / R).
    """
    return math.degrees(math.asin(pitch_in / radius_in(circumference_in)))
