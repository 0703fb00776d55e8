"""Ovals made by equal plunges of a round bit."""

import math
from dataclasses import dataclass

from app.calculation.errors import CannotBuildError

FINEST_CUSP_IN = 0.0001  # ASSUMED: finer plunges than any table is set to


@dataclass(frozen=True)
class Plunge:
    """One table move from the hole's centre, inches: towards the fingers and to the right."""

    along_in: float
    across_in: float


@dataclass(frozen=True)
class OvalPlan:
    """The plunges of an oval in order, the height of the cusps left between them, and the finished width, inches."""

    plunges: tuple[Plunge, ...]
    cusp_in: float
    width_in: float


def oval_plan(bit_in: float, oval_in: float, oval_deg: float, cusp_limit_in: float) -> OvalPlan:
    """The fewest equal plunges whose cusps stay within `cusp_limit_in` (inches, > 0, at most half the bit).

    `oval_deg` is clockwise from the fingers seen from outside. Without an oval: one plunge.
    Source: cusp r − √(r² − s²/4) of two circles a pitch s apart; chord of a circle, any handbook.
    """
    if not 0 < cusp_limit_in <= bit_in / 2:
        raise CannotBuildError("cusp_limit_in", "the cusp limit is more than 0 and at most half the bit")
    r = bit_in / 2
    if oval_in == 0:
        return OvalPlan((Plunge(0.0, 0.0),), 0.0, bit_in)
    widest = 2 * math.sqrt(r * r - (r - cusp_limit_in) ** 2)
    steps = max(1, math.ceil(oval_in / widest - 1e-9))
    pitch = oval_in / steps
    turn = math.radians(oval_deg)
    offsets = [-oval_in / 2 + i * pitch for i in range(steps + 1)]
    return OvalPlan(
        plunges=tuple(Plunge(o * math.cos(turn), o * math.sin(turn)) for o in offsets),
        cusp_in=r - math.sqrt(max(r * r - pitch * pitch / 4, 0.0)),
        width_in=bit_in + oval_in,
    )
