"""The wall between two holes: the least distance between the two solids that are taken out of the ball.

Each solid is convex: a cylinder, perhaps swept into an oval, closed by a flat floor or by the cone of a bit's point,
and cut by the ball's surface. So the distance between two of them is found exactly, with a bound from either side.

A bore ends at its collar setting, other holes at their depth along the axis. Only a thumb hole drilled without an
inner ends in the drill's point.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from app.calculation.errors import CannotBuildError
from app.calculation.holes import Axis
from app.calculation.sphere import Vector, combine, cross, dot

_CLOSE_IN = 1e-7  # inches between the upper and the lower bound of a distance; the promise is 1e-4
_TOUCHING_IN = 1e-6  # inches: solids closer than this break into each other
_ROUNDS = 200
_FAR = 1e8  # a scale at which a direction stands for a point at infinity, and doubles still keep 1e-8
_ON_BALL_IN = 1e-9  # inches from the surface at which a point counts as on it
_ROOT_STEPS = 60
_SHALLOW_IN = 0.001  # inches: a first cut, from which the depth of a meeting is sought
_DEPTH_CLOSE_IN = 1e-5


@dataclass(frozen=True)
class Solid:
    """What one bit takes out of the ball: everything within `bore_in` / 2 of a segment swept down the axis.

    `depth_in` runs down the axis from the ball's surface there to the floor at full diameter; `oval_in` and
    `oval_deg` as for a hole. `point_deg` is the bit's point angle, 180 for a flat floor. Inches and degrees.
    """

    axis: Axis
    bore_in: float
    depth_in: float
    oval_in: float = 0.0
    oval_deg: float = 0.0
    point_deg: float = 180.0


@dataclass(frozen=True)
class Wall:
    """The least distance between two holes inside the ball, inches, 0 where they break into each other.

    `meets_from_in` is the depth, down both axes at once, at which two holes that do break together first touch;
    None where they stay apart.
    """

    least_in: float
    meets_from_in: float | None = None


@dataclass(frozen=True)
class _Body:
    """A solid in its own axes (along the oval, beside it, down), the ball's centre as origin."""

    radius_in: float
    along: Vector
    beside: Vector
    down: Vector
    foot: tuple[float, float]
    half: float
    r: float
    top: float  # where the axis leaves the ball, down from the centre's level: negative
    floor: float
    slope: float  # of the cone: inches down for an inch towards its axis, 0 for a flat floor

    @property
    def mouth(self) -> Vector:
        """The point where the axis leaves the ball."""
        return combine(1.0, combine(self.foot[0], self.along, self.foot[1], self.beside), self.top, self.down)

    def nearest(self, x: float, y: float, z: float) -> tuple[float, float, float]:
        """The point nearest to (x, y, z) of the solid as it would be without the ball: endless upwards."""
        fx, fy = self.foot
        px, py = x - fx, y - fy
        on = max(-self.half, min(self.half, px))
        dx = px - on
        off = math.sqrt(dx * dx + py * py)
        r, depth = off, z
        if z > self.floor and self.slope:
            down = z - self.floor + (off - self.r) * self.slope
            if down > 0:  # below the cone: on to its side, no farther than its rim or its tip
                share = down / (1 + self.slope * self.slope)
                r = max(0.0, min(self.r, off - share * self.slope))
                depth = self.floor + (self.r - r) * self.slope
        else:
            r, depth = min(off, self.r), min(z, self.floor)
        scale = r / off if off else 0.0
        return fx + on + dx * scale, fy + py * scale, depth

    def farthest(self, towards: Vector) -> Vector:
        """The point of the solid that lies farthest in a direction (a unit vector).

        By Lagrange it is the point nearest to a scale times the direction, at the largest scale that keeps it in the
        ball; its distance from the ball's centre only grows with the scale, so that scale is a root.
        """
        x, y, z = dot(towards, self.along), dot(towards, self.beside), dot(towards, self.down)

        def beyond(scale: float) -> tuple[float, tuple[float, float, float]]:
            at = self.nearest(scale * x, scale * y, scale * z)
            return math.sqrt(at[0] * at[0] + at[1] * at[1] + at[2] * at[2]) - self.radius_in, at

        high, (gap_high, at) = _FAR, beyond(_FAR)
        if gap_high > 0:
            low, gap_low, high = 0.0, -self.radius_in, 2 * self.radius_in
            gap_high, at = beyond(high)
            while gap_high < 0:
                low, gap_low, high = high, gap_high, 4 * high
                gap_high, at = beyond(high)
            last = 0
            for _ in range(_ROOT_STEPS):
                middle = (low * gap_high - high * gap_low) / (gap_high - gap_low)
                gap, at = beyond(middle)
                if abs(gap) < _ON_BALL_IN or high - low < 1e-13 * high:
                    break
                if gap > 0:  # the Illinois rule: an end that stays twice counts half
                    high, gap_high, gap_low, last = middle, gap, gap_low / 2 if last > 0 else gap_low, 1
                else:
                    low, gap_low, gap_high, last = middle, gap, gap_high / 2 if last < 0 else gap_high, -1
        return combine(1.0, combine(at[0], self.along, at[1], self.beside), at[2], self.down)


def _body(solid: Solid) -> _Body:
    if solid.depth_in <= 0 or solid.bore_in <= 0:
        raise CannotBuildError("depth_in", "a hole has a size and a depth")
    axis, surface = solid.axis, solid.axis.point(0.0)
    along = axis.across(solid.oval_deg)
    beside = cross(axis.inwards, along)
    top = dot(surface, axis.inwards)
    return _Body(
        radius_in=axis.radius_in,
        along=along,
        beside=beside,
        down=axis.inwards,
        foot=(dot(surface, along), dot(surface, beside)),
        half=solid.oval_in / 2,
        r=solid.bore_in / 2,
        top=top,
        floor=top + solid.depth_in,
        slope=0.0 if solid.point_deg >= 180 else 1 / math.tan(math.radians(solid.point_deg) / 2),
    )


def _gap_in(one: _Body, other: _Body) -> float:
    """Least distance in inches between two solids, within 1e-6; 0 where they touch or run into each other.

    Source: E. Gilbert, D. Johnson and S. Keerthi, A fast procedure for computing the distance between complex objects
    in three-dimensional space, IEEE Journal of Robotics and Automation 4 (1988).
    """
    best = combine(1.0, one.mouth, -1.0, other.mouth)
    held: list[Vector] = []
    lower = 0.0
    for _ in range(_ROUNDS):
        size = math.sqrt(dot(best, best))
        if size < _TOUCHING_IN:
            return 0.0
        there = combine(1 / size, best, 0.0, best)
        back = combine(-1.0, there, 0.0, there)
        found = combine(1.0, one.farthest(back), -1.0, other.farthest(there))
        lower = max(lower, dot(found, there))
        if size - lower < _CLOSE_IN or found in held:
            return size
        held, best = _nearest_of([*held, found])
    return math.sqrt(dot(best, best))


def _nearest_of(points: list[Vector]) -> tuple[list[Vector], Vector]:
    """The point nearest to the origin of a simplex (1 to 4 corners), and the corners it is made of."""
    if len(points) < 4:
        return _nearest_of_triangle(points) if len(points) == 3 else _nearest_of_segment(points)
    is_outside, best = False, (points, (0.0, 0.0, 0.0))
    nearest = math.inf
    for i in range(4):
        face = points[:i] + points[i + 1 :]
        normal = cross(combine(1.0, face[1], -1.0, face[0]), combine(1.0, face[2], -1.0, face[0]))
        inside = dot(normal, combine(1.0, points[i], -1.0, face[0]))
        if inside * dot(normal, face[0]) < 0:  # the origin lies on the corner's side of this face
            continue
        is_outside = True
        found = _nearest_of_triangle(face)
        size = dot(found[1], found[1])
        if size < nearest:
            nearest, best = size, found
    return best if is_outside else (points, (0.0, 0.0, 0.0))


def _nearest_of_segment(points: list[Vector]) -> tuple[list[Vector], Vector]:
    if len(points) == 1:
        return points, points[0]
    a, b = points
    way = combine(1.0, b, -1.0, a)
    length = dot(way, way)
    share = -dot(a, way) / length if length else 0.0
    if share <= 0:
        return [a], a
    return ([b], b) if share >= 1 else (points, combine(1.0, a, share, way))


def _nearest_of_triangle(points: list[Vector]) -> tuple[list[Vector], Vector]:
    """Inside the triangle by barycentric coordinates, else on the nearest of its sides."""
    a, b, c = points
    u, v = combine(1.0, b, -1.0, a), combine(1.0, c, -1.0, a)
    uu, uv, vv, ua, va = dot(u, u), dot(u, v), dot(v, v), -dot(u, a), -dot(v, a)
    area = uu * vv - uv * uv
    s, t = vv * ua - uv * va, uu * va - uv * ua
    if area > 0 and s > 0 and t > 0 and s + t < area:
        return points, combine(1.0, combine(1.0, a, s / area, u), t / area, v)
    sides = [_nearest_of_segment(side) for side in ([a, b], [a, c], [b, c])]
    return min(sides, key=lambda found: dot(found[1], found[1]))


def wall(one: Sequence[Solid], other: Sequence[Solid]) -> Wall:
    """The wall between two holes, each of one or more solids, such as a sleeve's bore and the thumb hole inside it.

    Inches, within 1e-4. Raises CannotBuildError where a solid has no size or depth.
    """
    pairs = [(_body(a), _body(b)) for a in one for b in other]
    gaps = [_gap_in(a, b) for a, b in pairs]
    meets = [_meeting_depth_in(a, b) for (a, b), gap in zip(pairs, gaps, strict=True) if not gap]
    return Wall(min(gaps), min(meets, default=None))


def _meeting_depth_in(one: _Body, other: _Body) -> float:
    """The depth down both axes at which two solids that break together first touch, inches.

    Source: derived. The distance is a convex function of the depth that both have reached, so secants drawn from
    above the meeting place come down to it and never pass it.
    """

    def gap(depth: float) -> float:
        reached = (replace(body, floor=min(body.floor, body.top + depth)) for body in (one, other))
        return _gap_in(*reached)

    last, depth = _SHALLOW_IN, 2 * _SHALLOW_IN
    gap_last, gap_now = gap(last), gap(depth)
    if not gap_last:
        return 0.0
    for _ in range(_ROUNDS):
        if not gap_now or gap_last <= gap_now:
            break
        step = gap_now * (depth - last) / (gap_last - gap_now)
        last, gap_last, depth = depth, gap_now, depth + step
        if step < _DEPTH_CLOSE_IN:
            break
        gap_now = gap(depth)
    return depth
