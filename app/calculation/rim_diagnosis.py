"""What four readings of an inner's rim in a ball point to."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from app.calculation.bores import Bore, surface_above_seat_in
from app.calculation.errors import CannotBuildError
from app.calculation.loose import CLOCKS_DEG

Cause = Literal["as predicted", "depth", "slanted trim", "turned lock", "wrong inner"]

_FREE = 4.0  # what each free number of a cause costs: twice Akaike's 2, so that noise is not called a cause; ASSUMED
_CLEAR = 3.0  # two causes closer than this cannot be told apart; ASSUMED
_TOO_FAR = 25.0  # misfit at which no cause explains the readings: beyond 1 in 10,000 of chi-square with 2; ASSUMED


@dataclass(frozen=True)
class Suspect:
    """One cause, its size, and how badly it misses: chi-square plus the cost of its free numbers; less is better."""

    cause: Cause
    misfit: float
    size: float
    turn_deg: float = 0.0


@dataclass(frozen=True)
class Diagnosis:
    """Causes, best first, and whether the first is clear of the second."""

    suspects: tuple[Suspect, ...]
    is_clear: bool


def diagnose_rim(
    readings_in: Sequence[float], inner_od_in: float, made_in: Bore, fitted_in: Bore, turn_deg: float, spread_in: float
) -> Diagnosis:
    """Ranks what explains how an inner stands at 12, 3, 6 and 9 o'clock (inches proud), against what was expected.

    `spread_in` is the standard deviation of one reading. Depth: one offset all round (not seated looks the same).
    Slanted trim: a tilt without an offset, as when the pitch was not reset. Turned lock: another turn. Wrong inner:
    nothing fits. Source: derived; least squares, ranked after Akaike with a dearer penalty.
    """
    if len(readings_in) != len(CLOCKS_DEG):
        raise CannotBuildError("readings", "give four readings, at 12, 3, 6 and 9 o'clock")
    expected = _lips(inner_od_in, made_in, fitted_in, turn_deg)
    rest = [r - e for r, e in zip(readings_in, expected, strict=True)]
    offset = math.fsum(rest) / 4
    forward, right = (rest[0] - rest[2]) / 2, (rest[1] - rest[3]) / 2
    tilted = [r - t for r, t in zip(rest, (forward, right, -forward, -right), strict=True)]
    turned = min(
        ((_misfit(readings_in, _lips(inner_od_in, made_in, fitted_in, t), spread_in), t) for t in range(0, 360, 2)),
    )
    suspects = [
        Suspect("as predicted", _chi(rest, spread_in), 0.0),
        Suspect("depth", _chi([r - offset for r in rest], spread_in) + _FREE, offset),
        Suspect(
            "slanted trim", _chi(tilted, spread_in) + 2 * _FREE, math.hypot(forward, right), _bearing(forward, right)
        ),
        Suspect("turned lock", turned[0] + _FREE, 0.0, (turned[1] - turn_deg) % 360),
    ]
    suspects.sort(key=lambda s: s.misfit)
    if suspects[0].misfit > _TOO_FAR:
        suspects.insert(0, Suspect("wrong inner", suspects[0].misfit - _CLEAR, 0.0))
    return Diagnosis(tuple(suspects), suspects[1].misfit - suspects[0].misfit >= _CLEAR)


def _lips(inner_od_in: float, made_in: Bore, fitted_in: Bore, turn_deg: float) -> list[float]:
    reach, tau = inner_od_in / 2, math.radians(turn_deg)
    turns = [math.radians(c) for c in CLOCKS_DEG]
    return [surface_above_seat_in(made_in, reach, t - tau) - surface_above_seat_in(fitted_in, reach, t) for t in turns]


def _chi(rest: Sequence[float], spread_in: float) -> float:
    return math.fsum((r / spread_in) ** 2 for r in rest)


def _misfit(readings_in: Sequence[float], lips: Sequence[float], spread_in: float) -> float:
    return _chi([r - lip for r, lip in zip(readings_in, lips, strict=True)], spread_in)


def _bearing(forward: float, right: float) -> float:
    """Clock direction in degrees of the highest place of a tilt."""
    return math.degrees(math.atan2(right, forward)) % 360
