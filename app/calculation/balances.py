"""Static balance: how heavy each side of a ball is, before it is drilled and after, with how sure that is.

The first moment of the undrilled ball is its top weight times the scale's arm, towards the heavy spot; what is drilled
away takes its own, what is put in gives its own. A moment over the arm is told in ounces, as the shop's scale would:
right (+) and left, finger (+) and thumb, top (+, the grip's half) and bottom. Source: statics, derived; the worked
numbers are in `templates/help/geometry.md`. The official's scale and the rules in force decide.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

from app.calculation.depths import COVERAGE, student_factor
from app.calculation.errors import CannotBuildError
from app.calculation.removed import BalanceHole, Material, fill_materials, hole_material
from app.calculation.sphere import Vector, place
from app.calculation.units import radius_in

OZ_IN3_PER_G_CM3 = 2.54**3 / 28.349523125  # inch and avoirdupois ounce by definition, international agreement of 1959
NORMAL = student_factor(math.inf, COVERAGE)


class Ounces(NamedTuple):
    """What a scale would show, or by how much it would change: three differences of halves, and the weight."""

    right_oz: float
    finger_oz: float
    top_oz: float
    weight_oz: float

    def plus(self, other: "Ounces", times: float = 1.0) -> "Ounces":
        """This and `times` the other, component by component."""
        return Ounces(*(a + times * b for a, b in zip(self, other, strict=True)))

    def times(self, factor: float) -> "Ounces":
        """Each component `factor` times."""
        return Ounces(*(factor * a for a in self))


NO_OUNCES = Ounces(0.0, 0.0, 0.0, 0.0)


@dataclass(frozen=True, slots=True)
class UndrilledBall:
    """A ball as it lies before the first cut: weight, top weight (both ounces), and where its heavy spot is.

    The heavy spot is a surface place from the grip centre to be, inches of arc. `arm_in` is the constant of the scale
    that top weight and result are read on; None stands for the ball's radius, until the scale is calibrated.
    """

    circumference_in: float
    weight_oz: float
    top_weight_oz: float
    heavy_along_in: float
    heavy_across_in: float
    arm_in: float | None = None

    @property
    def lever_in(self) -> float:
        """The arm that counts, inches."""
        return radius_in(self.circumference_in) if self.arm_in is None else self.arm_in


@dataclass(frozen=True, slots=True)
class Uncertainty:
    """Standard uncertainties of what a balance is reckoned from.

    `density_fraction` (a share of the density) errs by the same for every hole, and independently by the same for every
    fill. `heavy_spot_in` holds along and across, independently. `arm_in` is 0 where the arm counts as known;
    `is_start_by_arm` says that the top weight is a moment over it, read on another scale, and errs with it. `start_oz`
    holds for a ball that was weighed before drilling right, finger and top, independently; None where it was not.
    `fill_fraction` is the share of the density of what is put in; None: as that of the holes.
    """

    density_fraction: float
    top_weight_oz: float
    heavy_spot_in: float
    arm_in: float = 0.0
    is_start_by_arm: bool = False
    start_oz: tuple[float, float, float] | None = None
    fill_fraction: float | None = None


class Doubt(NamedTuple):
    """One independent source of error, and by how much each component changes for one standard uncertainty of it."""

    source: str
    change: Ounces


HOLES, FILLS, TOP_WEIGHT, ALONG, ACROSS, ARM = (
    "density of what is drilled away",
    "density of what is put in",
    "top weight",
    "heavy spot along",
    "heavy spot across",
    "arm of the scale",
)
WEIGHED_BEFORE = (
    "weighing before drilling, right",
    "weighing before drilling, finger",
    "weighing before drilling, top",
)


@dataclass(frozen=True, slots=True)
class Balance:
    """The balance of a drilled ball, ounces. `removed` and `added` hold what holes and fills do to each component.

    `doubts` is None where no uncertainty was given; then nothing is known of an interval.
    """

    ounces: Ounces
    removed: Ounces
    added: Ounces
    doubts: tuple[Doubt, ...] | None = None

    def find_interval(self, component: int) -> tuple[float, float] | None:
        """The 95 % interval of a component of `Ounces`, first order; None without doubts.

        Source: JCGM 100:2008, 5.1.2, and the normal factor.
        """
        if self.doubts is None:
            return None
        half = NORMAL * math.hypot(*(doubt.change[component] for doubt in self.doubts))
        return self.ounces[component] - half, self.ounces[component] + half


def balance(ball: UndrilledBall, holes: Sequence[BalanceHole], uncertainty: Uncertainty | None = None) -> Balance:
    """The balance after these holes and fills. Raises CannotBuildError naming the field, `holes.0.depth_in` among them.

    Holes are taken as apart; a filled hole of an earlier drilling belongs to the undrilled ball as it was weighed.
    """
    _check_ball(ball)
    removed = added = NO_OUNCES
    for i, hole in enumerate(holes):
        taken, given = weigh_hole(hole, ball, f"holes.{i}.")
        removed, added = removed.plus(taken), added.plus(given)
    start = _weigh_undrilled(ball)
    ounces = start.plus(removed, -1.0).plus(added)
    if ounces.weight_oz <= 0:
        raise CannotBuildError("weight_oz", "more is drilled away than the ball weighs")
    doubts = None if uncertainty is None else _find_doubts(ball, removed, added, uncertainty)
    return Balance(ounces, removed, added, doubts)


def weigh_hole(hole: BalanceHole, ball: UndrilledBall, field: str = "") -> tuple[Ounces, Ounces]:
    """What a hole takes from each component, and what its fills give, before signs; errors are named below `field`."""
    try:
        taken = _weigh(hole_material(hole, ball.circumference_in), hole.density_oz_in3, ball.lever_in)
        given = NO_OUNCES
        for fill, material in zip(hole.fills, fill_materials(hole, ball.circumference_in), strict=True):
            given = given.plus(_weigh(material, fill.density_oz_in3, ball.lever_in))
    except CannotBuildError as error:
        raise CannotBuildError(field + error.field, error.message) from None
    return taken, given


def _weigh(material: Material, density_oz_in3: float, lever_in: float) -> Ounces:
    x, y, z = material.moment_in4
    return Ounces(x / lever_in, y / lever_in, z / lever_in, material.volume_in3).times(density_oz_in3)


def _check_ball(ball: UndrilledBall) -> None:
    quarter = ball.circumference_in / 4
    if abs(ball.heavy_along_in) > 2 * quarter:
        raise CannotBuildError("heavy_spot.along_in", "that is more than half way round the ball")
    if abs(ball.heavy_across_in) > quarter:
        raise CannotBuildError("heavy_spot.across_in", "that is more than a quarter of the ball off the centre line")


def _weigh_undrilled(ball: UndrilledBall) -> Ounces:
    x, y, z = place(ball.heavy_along_in, ball.heavy_across_in, radius_in(ball.circumference_in))
    return Ounces(x, y, z, 0.0).times(ball.top_weight_oz)._replace(weight_oz=ball.weight_oz)


def _find_doubts(ball: UndrilledBall, removed: Ounces, added: Ounces, uncertainty: Uncertainty) -> tuple[Doubt, ...]:
    radius, top, shift = radius_in(ball.circumference_in), ball.top_weight_oz, uncertainty.heavy_spot_in
    x, y, z = place(ball.heavy_along_in, ball.heavy_across_in, radius)
    b, a = ball.heavy_along_in / radius, ball.heavy_across_in / radius
    move = top * shift / radius
    hung = added.plus(removed, -1.0).plus(_weigh_undrilled(ball), float(uncertainty.is_start_by_arm))
    by_arm = hung._replace(weight_oz=0.0).times(-uncertainty.arm_in / ball.lever_in)
    fills = uncertainty.density_fraction if uncertainty.fill_fraction is None else uncertainty.fill_fraction
    each = uncertainty.start_oz or ()
    weighed = tuple(
        Doubt(source, Ounces(*(u if i == k else 0.0 for k in range(4))))
        for i, (source, u) in enumerate(zip(WEIGHED_BEFORE, each, strict=False))
    )
    return (
        Doubt(HOLES, removed.times(-uncertainty.density_fraction)),
        Doubt(FILLS, added.times(fills)),
        Doubt(TOP_WEIGHT, Ounces(x, y, z, 0.0).times(uncertainty.top_weight_oz)),
        Doubt(ALONG, Ounces(0.0, z, -y, 0.0).times(move)),
        Doubt(ACROSS, Ounces(math.cos(a), -math.sin(a) * math.sin(b), -math.sin(a) * math.cos(b), 0.0).times(move)),
        Doubt(ARM, by_arm),
        *weighed,
    )


@dataclass(frozen=True, slots=True)
class TowardsAxis:
    """How heavy a ball is towards its bowler's axis point, ounces, each with its 95 % interval where there is one.

    `side_oz` is the component along the axis point's direction seen from over the grip centre, in the plane of right
    and finger: what a driller calls the positive side. `axis_oz` is the component along the line from the ball's centre
    to the axis point itself, top included.
    """

    side_oz: float
    axis_oz: float
    side_interval_oz: tuple[float, float] | None
    axis_interval_oz: tuple[float, float] | None


def towards_axis_oz(found: Balance, axis_point: Vector) -> TowardsAxis:
    """The balance towards the axis point, a unit vector of the ball's frame. Raises CannotBuildError at the poles."""
    across = math.hypot(axis_point[0], axis_point[1])
    if across < 1e-9:
        raise CannotBuildError("axis_point", "an axis point at the grip centre has no side")
    side = (axis_point[0] / across, axis_point[1] / across, 0.0)
    side_oz, axis_oz = _along(found.ounces, side), _along(found.ounces, axis_point)
    return TowardsAxis(
        side_oz, axis_oz, _interval_along(found, side, side_oz), _interval_along(found, axis_point, axis_oz)
    )


def _along(ounces: Ounces, direction: Vector) -> float:
    return sum(a * b for a, b in zip(ounces, direction, strict=False))


def _interval_along(found: Balance, direction: Vector, value: float) -> tuple[float, float] | None:
    if found.doubts is None:
        return None
    half = NORMAL * math.hypot(*(_along(doubt.change, direction) for doubt in found.doubts))
    return value - half, value + half


def mean_density_oz_in3(weight_oz: float, circumference_in: float) -> float:
    """Mean density of a ball in ounces per cubic inch; cover, filler and core differ from it."""
    return weight_oz / (4 / 3 * math.pi * radius_in(circumference_in) ** 3)
