"""A ball's own marks, placed relative to each other from the arcs that were measured between them.

Pin, mass mark and heavy spot (where the centre of gravity is marked, or was found by weighing) make a triangle on the
ball. Arcs that make none, or readings of one arc that differ, are reconciled by least squares: the fitted arcs are the
nearest ones that do close. What is left over is the misfit, and beyond the doubt of the readings it is refused.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from app.calculation.errors import CannotBuildError
from app.calculation.layouts import LaidOut, radius_of
from app.calculation.sphere import Vector, heading, travel, veer
from app.calculation.triangles import angle_opposite

Arc = Literal["pin_mark_in", "pin_heavy_in", "mark_heavy_in"]
ARCS: tuple[Arc, Arc, Arc] = ("pin_mark_in", "pin_heavy_in", "mark_heavy_in")

_QUANTILE = 2.3263478740408408  # of the standard normal distribution at 0.99
_LEAST = 1e-6  # radians: nearer marks are one mark


@dataclass(frozen=True, slots=True)
class MeasuredArc:
    """One reading of the arc between two marks, inches, more than 0 and at most half of the ball round."""

    arc: Arc
    length_in: float


@dataclass(frozen=True, slots=True)
class BallMarks:
    """Where a ball's marks lie, and how well the readings agree.

    `arcs` are the fitted arcs in inches. `turn_deg` is the angle at the pin from the line to the mass mark to the line
    to the heavy spot, clockwise seen from outside, −180..180; None without all three marks. `residuals` are reading
    less fitted arc, inches, in the order of the readings; `misfit_in` is the root of their mean square.
    `heavy_spot_u_in` is the root mean square of how far off the heavy spot is, where the pin and the line to the mass
    mark are held: √2 of a standard uncertainty that is alike along and across. None where it was not measured.
    """

    arcs: Mapping[Arc, float]
    turn_deg: float | None
    residuals: tuple[float, ...]
    misfit_in: float
    heavy_spot_u_in: float | None


def fit_marks(
    circumference_in: float, readings: Sequence[MeasuredArc], reading_u_in: float, is_clockwise: bool = True
) -> BallMarks:
    """Returns a ball's marks from readings of one arc, or of all three, each read once or more.

    `reading_u_in` is the standard uncertainty of one reading, inches, more than 0. `is_clockwise` says to which side of
    the line from the pin to the mass mark the heavy spot lies: arcs alone cannot tell. Raises CannotBuildError naming
    an arc that is missing or impossible, or the one furthest from the fit where the squared misfits, in units of their
    doubt, sum to more than honest readings do in 99 of 100 cases. Source: least squares under the triangle
    inequalities, in closed form; checked against scipy's minimiser. The limit is Wilson and Hilferty's of chi squared.
    """
    radius_in = radius_of(circumference_in)
    if not reading_u_in > 0:
        raise CannotBuildError("reading_u_in", "the doubt of a reading is more than 0")
    names = _list_arcs(readings, circumference_in)
    lengths = {name: [r.length_in for r in readings if r.arc == name] for name in names}
    means = {name: math.fsum(read) / len(read) for name, read in lengths.items()}
    weights = {name: len(read) for name, read in lengths.items()}
    fitted, is_flat = _close(means, weights, circumference_in)
    residuals = tuple(r.length_in - fitted[r.arc] for r in readings)
    freedom = len(readings) - len(names) + is_flat
    _check_misfit(readings, residuals, reading_u_in, freedom)
    turn_deg = heavy_u_in = None
    if len(names) > 1:
        turn_deg = _find_turn(fitted, radius_in) * (1 if is_clockwise else -1)
        heavy_u_in = _doubt_of_heavy_spot(means, weights, circumference_in, reading_u_in)
    elif "pin_heavy_in" in names:
        heavy_u_in = reading_u_in / math.sqrt(len(readings))
    misfit_in = math.sqrt(math.fsum(r * r for r in residuals) / len(residuals))
    return BallMarks(fitted, turn_deg, residuals, misfit_in, heavy_u_in)


def place_heavy_spot(marks: BallMarks, laid: LaidOut) -> Vector:
    """Returns the heavy spot's unit vector in the frame of the grip that a ball was laid out for.

    Without a mass mark of its own the heavy spot is the layout's mark. The pin and the line to the mass mark are the
    layout's. Raises CannotBuildError at `pin_heavy_in` where it was not measured.
    """
    if "pin_heavy_in" not in marks.arcs:
        raise CannotBuildError("pin_heavy_in", "the arc from the pin to the heavy spot is needed")
    to_mark = veer(laid.pin, heading(laid.pin, laid.mark), math.radians(marks.turn_deg or 0.0))
    return travel(laid.pin, to_mark, marks.arcs["pin_heavy_in"] / laid.radius_in)


def _list_arcs(readings: Sequence[MeasuredArc], circumference_in: float) -> list[Arc]:
    """The arcs that were read. Raises CannotBuildError unless each is possible, and they are one or all three."""
    for reading in readings:
        if not _LEAST * circumference_in < reading.length_in <= circumference_in / 2:
            raise CannotBuildError(reading.arc, "an arc is more than 0 and at most half of the ball round")
    names = [name for name in ARCS if any(r.arc == name for r in readings)]
    if not names:
        raise CannotBuildError("pin_mark_in", "no arc between two marks was measured")
    if len(names) == len(ARCS) - 1:
        missing = next(name for name in ARCS if name not in names)
        raise CannotBuildError(missing, "two arcs do not say how three marks lie: this one is needed too")
    if names == ["mark_heavy_in"]:
        raise CannotBuildError("pin_heavy_in", "marks are placed from the pin: an arc from it is needed")
    return names


def _close(means: Mapping[Arc, float], weights: Mapping[Arc, int], round_in: float) -> tuple[dict[Arc, float], bool]:
    """The nearest arcs that close (weighted), and whether the marks then lie on one great circle.

    Each of the four ways not to close is one linear inequality, and only one of them is broken at a time; so what it is
    broken by is shared among the arcs as 1 / weight, after Lagrange.
    """
    fitted = dict(means)
    if len(means) < len(ARCS):
        return fitted, False
    ways = [{name: 1 if name == far else -1 for name in ARCS} for far in ARCS]
    broken = [(math.fsum(way[name] * means[name] for name in ARCS), way) for way in ways]
    broken.append((math.fsum(means.values()) - round_in, dict.fromkeys(ARCS, 1)))
    excess, way = max(broken, key=lambda pair: pair[0])
    if excess <= 0:
        return fitted, False
    total = math.fsum(1 / weights[name] for name in ARCS)
    return {name: means[name] - way[name] * excess / weights[name] / total for name in ARCS}, True


def _check_misfit(
    readings: Sequence[MeasuredArc], residuals: Sequence[float], reading_u_in: float, freedom: int
) -> None:
    if freedom and math.fsum((r / reading_u_in) ** 2 for r in residuals) > find_limit(freedom):
        worst = max(range(len(readings)), key=lambda i: abs(residuals[i]))
        raise CannotBuildError(
            readings[worst].arc,
            f"the arcs contradict each other: this one is {abs(residuals[worst]):.3f} in from the nearest that go"
            " together, more than the doubt of a reading allows",
        )


def find_limit(freedom: int) -> float:
    """What chi squared stays below in 99 of 100 cases: Wilson and Hilferty (1931), within 1 % from 1 degree on."""
    share = 2 / (9 * freedom)
    return freedom * float(1 - share + _QUANTILE * math.sqrt(share)) ** 3


def _find_turn(arcs: Mapping[Arc, float], radius_in: float) -> float:
    """The angle at the pin between the lines to mass mark and heavy spot, 0..180 degrees."""
    far, a, b = (arcs[name] / radius_in for name in ("mark_heavy_in", "pin_mark_in", "pin_heavy_in"))
    return math.degrees(angle_opposite(far, a, b))


def _doubt_of_heavy_spot(
    means: Mapping[Arc, float], weights: Mapping[Arc, int], circumference_in: float, reading_u_in: float
) -> float:
    """The root sum of what one standard uncertainty of each arc moves the heavy spot by, the larger of both ways."""
    radius_in = radius_of(circumference_in)

    def find(changed: Mapping[Arc, float]) -> tuple[float, float]:
        fitted, _ = _close(changed, weights, circumference_in)
        return fitted["pin_heavy_in"], math.radians(_find_turn(fitted, radius_in))

    arc_in, turn = find(means)
    moves = []
    for name in ARCS:
        u_in = reading_u_in / math.sqrt(weights[name])
        ends = [find({**means, name: means[name] + way * u_in}) for way in (1, -1)]
        beside_in = radius_in * math.sin(arc_in / radius_in)
        moves.append(max(math.hypot(end - arc_in, beside_in * (swung - turn)) for end, swung in ends))
    return math.hypot(*moves)
