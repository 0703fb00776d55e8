"""Where to trim an inner that has to sit in several balls."""

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class Trim:
    """How much lower to trim (inches, 0 or more), and the worst lip over all balls before and after, inches."""

    trim_in: float
    worst_before_in: float
    worst_after_in: float


def best_trim(rims: Sequence[tuple[float, float]]) -> Trim:
    """The trim that makes the worst lip least, from (lowest, highest) of the rim in each ball, inches proud.

    Trimming lowers every rim alike and cannot be undone; it helps only while the proudest place is further from
    flush than the lowest. The best is half way between the two. Source: derived; minimax of two lines.
    """
    lowest, highest = min(low for low, _ in rims), max(high for _, high in rims)
    trim = max(0.0, (highest + lowest) / 2)
    return Trim(trim, max(highest, -lowest), max(highest - trim, -(lowest - trim)))
