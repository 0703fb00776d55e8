"""What drilling takes out of a ball and what a fill puts back: volume and first moment about the ball's centre.

A hole is a flat-floored cylinder about a pitched axis, cut by the sphere; its cross-section is a circle or an oval.
Over the cross-section the height to the sphere, H = √(R² − q²) with q the distance from the parallel through the
ball's centre, is integrated round the rim instead of over the area, by the divergence theorem:
∬H dA = ∮ (q·n)(R² + RH + H²) / 3(R + H) dl and ∬qH dA = −⅓ ∮ H³ n dl. Both are free of cancellation for any pitch.
Source: derived; checked against solids, scipy and closed forms in the tests.

Holes that break into each other are counted twice where they overlap.
"""

import math
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from typing import Literal

from app.calculation.bores import Bore, height_in
from app.calculation.errors import CannotBuildError
from app.calculation.holes import Axis, OldHole
from app.calculation.sphere import Vector, combine, cross, dot
from app.calculation.units import radius_in

_NODES = 24  # of each piece of rim: below 1e-12 of the volume up to the steepest pitch and widest bore the API takes
_SAME_IN = 1e-9


@dataclass(frozen=True, slots=True)
class Fill:
    """A tube, or a solid slug where `id_in` is 0, that stands on the floor of a hole about the hole's own axis.

    It ends `length_in` above the floor, square to the axis, or trimmed at the ball's surface where that is None. The
    inside may be an oval, as a hole's. Inches; density in ounces per cubic inch.
    """

    od_in: float
    density_oz_in3: float
    id_in: float = 0.0
    length_in: float | None = None
    id_oval_in: float = 0.0
    id_oval_deg: float = 0.0


@dataclass(frozen=True, slots=True)
class BalanceHole:
    """A hole as the balance counts it: place, pitch (signs of its digit), bit, collar depth, and what is put in.

    `depth_in` is the collar setting of the bit on the hole's own axis; an oval has one flat floor at that height.
    `density_oz_in3` is that of what is drilled away. Inches of arc for the place, inches, ounces per cubic inch.
    """

    along_in: float
    across_in: float
    forward_in: float
    right_in: float
    digit: Literal["thumb", "finger"]
    bore_in: float
    depth_in: float
    density_oz_in3: float
    fills: tuple[Fill, ...] = ()
    oval_in: float = 0.0
    oval_deg: float = 0.0

    def find_axis(self, circumference_in: float) -> Axis:
        """Its line in a ball of this size; raises CannotBuildError for a place that is not on the ball."""
        like = (self.along_in, self.across_in, self.bore_in, self.forward_in, self.right_in, self.depth_in, self.digit)
        return OldHole(*like).find_axis(radius_in(circumference_in))

    def find_floor_in(self, circumference_in: float) -> float:
        """Height of the floor above the ball's mid-plane square to the axis, inches (negative beyond the centre).

        Raises CannotBuildError unless the whole floor lies inside the ball.
        """
        bore = Bore(circumference_in, self.bore_in, self.depth_in, self.forward_in, self.right_in)
        floor, radius = height_in(bore, "collar") - self.depth_in, radius_in(circumference_in)
        farthest = bore.pitch_in + (self.bore_in + self.oval_in) / 2
        if farthest >= radius:
            raise CannotBuildError("oval_in", "a hole this wide does not lie inside the ball")
        lowest = math.sqrt(radius**2 - farthest**2)
        if floor >= lowest:
            raise CannotBuildError("depth_in", "at this pitch so shallow a cut only grazes the ball")
        if floor <= -lowest:
            raise CannotBuildError("depth_in", "a hole this deep comes out on the other side")
        return floor


@dataclass(frozen=True, slots=True)
class Material:
    """A volume in cubic inches and its first moment ∫r dV about the ball's centre, in⁴, in the ball's frame."""

    volume_in3: float
    moment_in4: Vector

    def less(self, other: "Material") -> "Material":
        """This without a part of it."""
        moment = combine(1.0, self.moment_in4, -1.0, other.moment_in4)
        return Material(self.volume_in3 - other.volume_in3, moment)


def hole_material(hole: BalanceHole, circumference_in: float) -> Material:
    """What the hole takes out of a ball without other holes. Raises CannotBuildError naming the hole's field."""
    axis, floor = hole.find_axis(circumference_in), hole.find_floor_in(circumference_in)
    return _column(axis, _Section(axis, hole.bore_in, hole.oval_in, hole.oval_deg), floor, None)


def fill_materials(hole: BalanceHole, circumference_in: float) -> tuple[Material, ...]:
    """What each fill of the hole puts in, in their order. Raises CannotBuildError naming the fill's field.

    Fills may stand inside one another, as an inner in its sleeve, but not in the same room or outside the hole.
    """
    check_fills(hole)
    axis, floor = hole.find_axis(circumference_in), hole.find_floor_in(circumference_in)
    return tuple(_fill_material(axis, fill, floor, f"fills.{i}.") for i, fill in enumerate(hole.fills))


def check_fills(hole: BalanceHole) -> None:
    """Raises CannotBuildError naming the field where the fills do not go into the hole, or not together."""
    for i, fill in enumerate(hole.fills):
        if fill.od_in > hole.bore_in + _SAME_IN:
            raise CannotBuildError(f"fills.{i}.od_in", "this is wider than the hole it stands in")
        if fill.id_in + fill.id_oval_in >= fill.od_in:
            raise CannotBuildError(f"fills.{i}.id_in", "the inside of a tube is smaller than its outside")
    by_size = sorted(enumerate(hole.fills), key=lambda each: -each[1].od_in)
    for (_, outer), (i, inner) in pairwise(by_size):
        if inner.od_in > outer.id_in + _SAME_IN:
            raise CannotBuildError(f"fills.{i}.od_in", "two fills take up the same room of a hole")


def _fill_material(axis: Axis, fill: Fill, floor_in: float, field: str) -> Material:
    outside = _Section(axis, fill.od_in)
    if fill.length_in is not None and floor_in + fill.length_in > outside.find_lowest_in():
        raise CannotBuildError(
            f"{field}length_in", "this stands proud of the ball; leave the length out where it is trimmed flush"
        )
    whole = _column(axis, outside, floor_in, fill.length_in)
    if not fill.id_in:
        return whole
    inside = _Section(axis, fill.id_in, fill.id_oval_in, fill.id_oval_deg)
    return whole.less(_column(axis, inside, floor_in, fill.length_in))


class _Section:
    """A round or oval cross-section square to a hole's axis, in axes along the oval and beside it, from the centre."""

    def __init__(self, axis: Axis, bit_in: float, oval_in: float = 0.0, oval_deg: float = 0.0) -> None:
        self.along = axis.across(oval_deg)
        self.beside = cross(self.along, axis.inwards)
        on_axis = axis.point(0.0)
        self.x, self.y = dot(on_axis, self.along), dot(on_axis, self.beside)
        self.ball_in, self.r, self.half = axis.radius_in, bit_in / 2, oval_in / 2
        self.area_in2 = math.pi * self.r**2 + 4 * self.r * self.half

    def find_square_in4(self) -> float:
        """∬q² dA: of two half discs and the rectangle between them, about their middle, carried to the centre."""
        r, half = self.r, self.half
        discs = math.pi * r**4 / 2 + math.pi * (r * half) ** 2 + 8 * half * r**3 / 3
        rectangle = 4 * half * r * (half**2 + r**2) / 3
        return discs + rectangle + self.area_in2 * (self.x**2 + self.y**2)

    def find_lowest_in(self) -> float:
        """Height above the mid-plane of the lowest place of a round section's rim on the ball."""
        return math.sqrt(self.ball_in**2 - (math.hypot(self.x, self.y) + self.r) ** 2)

    def find_heights(self) -> tuple[float, float, float]:
        """∬H dA and the two of ∬qH dA, round the rim."""
        big, r, half, x, y = self.ball_in, self.r, self.half, self.x, self.y
        rim = [(x + math.copysign(half, c) + r * c, y + r * s, c, s, w * r) for c, s, w in _find_turns()]
        if half:
            sides = [(half * t, w * half) for t, w in find_gauss(_NODES)]
            rim += [(x + at, y + math.copysign(r, n), 0.0, n, length) for at, length in sides for n in (1.0, -1.0)]
        total = first = second = 0.0
        for qx, qy, nx, ny, length in rim:
            height = math.sqrt(big * big - qx * qx - qy * qy)
            total += (qx * nx + qy * ny) * (big * big + big * height + height * height) / (big + height) * length
            cube = height**3 * length
            first -= cube * nx
            second -= cube * ny
        return total / 3, first / 3, second / 3


def _column(axis: Axis, section: _Section, floor_in: float, length_in: float | None) -> Material:
    """The column over a section from the floor up to `length_in` above it, or to the ball's surface."""
    area = section.area_in2
    if length_in is not None:
        volume = area * length_in
        x, y, up = volume * section.x, volume * section.y, volume * (floor_in + length_in / 2)
    else:
        heights, x_heights, y_heights = section.find_heights()
        volume = heights - floor_in * area
        x, y = x_heights - floor_in * area * section.x, y_heights - floor_in * area * section.y
        up = (area * (section.ball_in**2 - floor_in**2) - section.find_square_in4()) / 2
    across = combine(x, section.along, y, section.beside)
    return Material(volume, combine(1.0, across, -up, axis.inwards))


@lru_cache
def find_gauss(count: int) -> tuple[tuple[float, float], ...]:
    """Places and weights of Gauss-Legendre quadrature on −1..1. Source: Newton's method on Legendre's recurrence."""
    found = []
    for i in range(count):
        x = math.cos(math.pi * (i + 0.75) / (count + 0.5))
        for _ in range(8):
            before, value = 1.0, x
            for k in range(2, count + 1):
                before, value = value, ((2 * k - 1) * x * value - (k - 1) * before) / k
            slope = count * (x * value - before) / (x * x - 1)
            x -= value / slope
        found.append((x, 2 / ((1 - x * x) * slope * slope)))
    return tuple(found)


@lru_cache
def _find_turns() -> tuple[tuple[float, float, float], ...]:
    """(cosine, sine, weight) of the turns of both half circles of a rim."""
    quarter, gauss = math.pi / 2, find_gauss(_NODES)
    return tuple((h * math.cos(quarter * t), h * math.sin(quarter * t), quarter * w) for h in (1, -1) for t, w in gauss)
