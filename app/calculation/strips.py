"""Marking strips and the thumb's rim disc: true lengths of a grip laid out flat, to print at 1:1.

A strip lies along one great circle of the ball, which paper can follow without a fold, so every length along it is the
arc on the ball. A disc is laid out about the thumb hole's centre by the azimuthal equidistant projection: distances
and directions from the centre are true. The paper's own thickness is neglected (0.1 mm of paper: 1 part in 2,000).
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Literal

from app.calculation.cuts import SleeveBore
from app.calculation.errors import CannotBuildError
from app.calculation.grip import GRIP_CENTRE, FingerName, SolvedGrip
from app.calculation.holes import THUMB, Axis, edge_angle, pitched_axis, rim_points, surface_point
from app.calculation.spans import inside_edge
from app.calculation.sphere import Vector, along_across_in, arc_angle, combine, dot, heading, travel

TickKind = Literal["edge", "centre", "line"]
Point = tuple[float, float]

_MIDLINE: Vector = (0.0, 1.0, 0.0)
_CENTRE_LINE: Vector = (1.0, 0.0, 0.0)
_HERE = 1e-9  # radians: two places that are one
_HOUR_DEG = 30
_HOUR_MARK_IN = 0.1


@dataclass(frozen=True)
class Tick:
    """A mark across a strip: its name, its place in inches of arc from the strip's zero, and what is marked there.

    An `edge` is where a cylinder meets the ball, a `centre` a hole's or the grip's, a `line` one that crosses there.
    """

    name: str
    at_in: float
    kind: TickKind


@dataclass(frozen=True)
class Strip:
    """A strip along a great circle. Places grow from `start` towards `end`; zero is at `start`, on the centre line at
    the grip centre. Ticks are in order. A piece of a broken strip names the tick at which it is joined to the piece
    `before` it and to the one `after` it.
    """

    start: str
    end: str
    ticks: tuple[Tick, ...]
    before: str = ""
    after: str = ""

    @property
    def ends_in(self) -> tuple[float, float]:
        """Where its first and its last tick are, inches of arc."""
        return self.ticks[0].at_in, self.ticks[-1].at_in

    @property
    def length_in(self) -> float:
        """From the first to the last tick, inches of arc."""
        return self.ends_in[1] - self.ends_in[0]

    def at_in(self, name: str) -> list[float]:
        """The places of all ticks of this name."""
        return [tick.at_in for tick in self.ticks if tick.name == name]


def _strip(start: str, end: str, ticks: Iterable[Tick]) -> Strip:
    return Strip(start, end, tuple(sorted(ticks, key=lambda tick: tick.at_in)))


def lay_strips(solved: SolvedGrip, bore: SleeveBore | None = None) -> tuple[Strip, ...]:
    """Every strip of a grip: thumb (or the palm's plus) to each finger, the bridge, and the centre line.

    Lengths are inches of arc. Thumb to finger: zero at the thumb hole's centre, positive towards the finger, as far as
    half of the ball round. Bridge: zero at the middle finger's centre. Centre line: zero at the grip centre, positive
    towards the fingers; a hole that does not stand on it is ticked where its own square line meets it.
    Raises CannotBuildError naming a hole that has no edge on the ball. Source: derived; the edges are `edge_angle`.
    """
    laid = [_lay_to_finger(solved, bore, finger) for finger in solved.fingers]
    if solved.middle and solved.ring:
        laid.append(_lay_bridge(solved, solved.middle, solved.ring))
    return (*laid, _lay_centre_line(solved, bore))


def _lay_to_finger(solved: SolvedGrip, bore: SleeveBore | None, finger: FingerName) -> Strip:
    start, axis, radius = solved.anchor, solved.fingers[finger], solved.radius_in
    outwards, whole = heading(start, axis.centre), arc_angle(start, axis.centre)
    ticks = [Tick("grip centre", 0.0, "centre")]
    if solved.thumb:
        ticks = _tick_thumb(solved, bore, outwards, 0.0)
        ticks += _tick_line(start, outwards, whole, _cut_line(solved), "cut line", radius)
        is_centre_line = max(abs(start[0]), abs(axis.centre[0])) < _HERE
        middle = _tick_line(start, outwards, whole, _MIDLINE, "midline", radius)
        ticks += [replace(tick, name="grip centre", kind="centre") for tick in middle] if is_centre_line else middle
    ticks += _tick_finger(solved, finger, heading(axis.centre, start), radius * whole)
    return _strip("thumb" if solved.thumb else "plus", finger, ticks)


def _lay_bridge(solved: SolvedGrip, middle: Axis, ring: Axis) -> Strip:
    """The bridge; zero at the middle finger's centre."""
    outwards, whole = heading(middle.centre, ring.centre), arc_angle(middle.centre, ring.centre)
    ticks = _tick_finger(solved, "middle", outwards, 0.0, way=1)
    ticks += _tick_line(middle.centre, outwards, whole, _CENTRE_LINE, "centre line", solved.radius_in)
    ticks += _tick_finger(solved, "ring", heading(ring.centre, middle.centre), solved.radius_in * whole)
    return _strip("middle", "ring", ticks)


def _lay_centre_line(solved: SolvedGrip, bore: SleeveBore | None) -> Strip:
    """The centre line; zero at the grip centre, the fingers positive."""
    radius = solved.radius_in
    ticks = [Tick("grip centre", 0.0, "centre")]
    if solved.thumb:
        along_in, across_in = along_across_in(solved.thumb.centre, radius)
        ticks.append(Tick("cut line", -(solved.half_span_in or 0.0), "line"))
        if abs(across_in) < _HERE:
            ticks += _tick_thumb(solved, bore, heading(solved.thumb.centre, GRIP_CENTRE), along_in)
        else:
            ticks.append(Tick("thumb foot", along_in, "line"))
    for finger, axis in solved.fingers.items():
        along_in, across_in = along_across_in(axis.centre, radius)
        if abs(across_in) < _HERE:
            ticks += _tick_finger(solved, finger, heading(axis.centre, GRIP_CENTRE), along_in)
        else:
            ticks.append(Tick(f"{finger} foot", along_in, "line"))
    if solved.middle and solved.ring:
        m, r = solved.middle.centre, solved.ring.centre
        between = _crossing_angle(m, heading(m, r), _CENTRE_LINE)
        ticks.append(Tick("bridge", along_across_in(travel(m, heading(m, r), between), radius)[0], "line"))
    return _strip("thumb" if solved.thumb else "plus", "fingers", ticks)


def _tick_thumb(solved: SolvedGrip, bore: SleeveBore | None, tangent: Vector, centre_in: float) -> list[Tick]:
    """The thumb's centre, and the edges of hole, sleeve and bore on the side of `tangent` and behind it."""
    grip, axis = solved.grip, solved.require_thumb()
    thumb = grip.require_thumb()
    rims = [("hole", axis, thumb.hole_in, thumb.oval_in)]
    if grip.sleeve_od_in and solved.sleeve:
        rims.append(("sleeve", solved.sleeve, grip.sleeve_od_in, 0.0))
    if bore:
        rims.append(("bore", _bore_axis(axis, bore), bore.bore_in, 0.0))
    ticks = [Tick("centre", centre_in, "centre")]
    for name, about, size_in, oval_in in rims:
        for way in (1, -1):
            towards = combine(way, tangent, 0.0, tangent)
            angle = edge_angle(about, towards, size_in, oval_in, thumb.oval_deg)
            ticks.append(Tick(name, centre_in + way * axis.radius_in * angle, "edge"))
    return ticks


def _tick_finger(solved: SolvedGrip, finger: FingerName, facing: Vector, centre_in: float, way: int = -1) -> list[Tick]:
    """A finger's centre and edges; `way` is the sign along the strip of `facing`, the tangent at its centre."""
    axis, hole = solved.fingers[finger], solved.grip.fingers[finger]
    ticks = [Tick("centre", centre_in, "centre")]
    for sign in (1, -1):
        tangent = combine(sign, facing, 0.0, facing)
        at = [("bore", edge_angle(axis, tangent, hole.cut_in))]
        if hole.hole_in < hole.cut_in:
            at.append(("hole", inside_edge(axis, tangent, hole, finger)))
        ticks += [Tick(name, centre_in + way * sign * axis.radius_in * angle, "edge") for name, angle in at]
    return ticks


def _bore_axis(thumb: Axis, bore: SleeveBore) -> Axis:
    return pitched_axis(thumb.centre, bore.forward_in, bore.right_in, THUMB, thumb.radius_in)


def _cut_line(solved: SolvedGrip) -> Vector:
    """The pole of the great circle that crosses the centre line squarely at the thumb's cut line."""
    turn = (solved.half_span_in or 0.0) / solved.radius_in
    return (0.0, math.cos(turn), math.sin(turn))


def _crossing_angle(start: Vector, tangent: Vector, pole: Vector) -> float:
    """Radians along a great circle, in -π/2..π/2, to where it crosses the great circle of a pole."""
    rise = dot(tangent, pole)
    return math.atan2(-dot(start, pole) * math.copysign(1.0, rise), abs(rise))


def _tick_line(start: Vector, tangent: Vector, whole: float, pole: Vector, name: str, radius_in: float) -> list[Tick]:
    """The tick where a line crosses a strip between its ends; none if it does not."""
    angle = _crossing_angle(start, tangent, pole)
    return [Tick(name, radius_in * angle, "line")] if 0 < angle < whole else []


def break_strip(strip: Strip, longest_in: float, overlap_in: float) -> tuple[Strip, ...]:
    """A strip in pieces of at most `longest_in` (inches, > 0), each joined to the next at a tick that both have.

    Both pieces also have every other tick within `overlap_in` (0 or more) of that tick. The longest piece that fits is
    taken first. Raises CannotBuildError where two ticks in a row are further apart than a piece is long.
    """
    if strip.length_in <= longest_in:
        return (strip,)
    first = strip.ticks[0].at_in
    inside = [tick for tick in strip.ticks if first < tick.at_in <= first + longest_in - overlap_in]
    if not inside:
        raise CannotBuildError("", "no piece of paper is long enough for this strip")
    joint = inside[-1]
    near = tuple(tick for tick in strip.ticks if tick.at_in <= joint.at_in + overlap_in)
    rest = tuple(tick for tick in strip.ticks if tick.at_in >= joint.at_in - overlap_in and tick.at_in > first)
    further = break_strip(replace(strip, ticks=rest, before=joint.name), longest_in, overlap_in)
    return (replace(strip, ticks=near, after=joint.name), *further)


@dataclass(frozen=True)
class RimDisc:
    """The thumb's rims laid out about its centre: inches to the right and towards the fingers, seen from outside.

    `rims` are closed curves by name: `hole` (finished, with its oval), `sleeve`, `bore`. `hours` are the clock marks 1
    to 12 about the outermost of them, each from rim outwards; `notch` lies on the sleeve's rim (None where unknown);
    `oval` are the ends of the finished oval's long axis on its rim.
    """

    rims: dict[str, tuple[Point, ...]]
    hours: tuple[tuple[Point, Point], ...]
    notch: Point | None
    oval: tuple[Point, Point] | None

    @property
    def reach_in(self) -> float:
        """The furthest rim or clock mark from the centre, inches."""
        marks = [end for mark in self.hours for end in mark]
        return max(math.hypot(*point) for point in [*marks, *(p for rim in self.rims.values() for p in rim)])


def flatten(axis: Axis, at: Vector) -> Point:
    """A point of the ball (any length) in the azimuthal equidistant projection about a hole's centre.

    Inches to the right and towards the fingers, as the tangent frame of the hole's centre has them; distance from the
    centre is the arc, which must be less than half of the ball round. Source: J. P. Snyder, Map Projections: A Working
    Manual (1987), chapter 25.
    """
    size = math.sqrt(dot(at, at))
    point = combine(1 / size, at, 0.0, at)
    right, up = dot(point, axis.right), dot(point, axis.long)
    flat = math.hypot(right, up)
    if flat < _HERE:
        return (axis.radius_in * right, axis.radius_in * up)
    arc = axis.radius_in * arc_angle(axis.centre, point)
    return (arc * right / flat, arc * up / flat)


def lay_rim_disc(
    solved: SolvedGrip, bore: SleeveBore | None = None, notch_deg: float | None = None, steps: int = 120
) -> RimDisc | None:
    """The rim disc of a grip's thumb hole, `steps` points to a full rim; None without a thumb hole.

    Clock directions (degrees clockwise from the fingers, from outside) are those of `Axis.across`, about the sleeve's
    axis, else the bore's, else the hole's. Source: derived; rims are `rim_points`.
    """
    axis, thumb = solved.thumb, solved.grip.thumb
    if axis is None or thumb is None:
        return None
    outer, size_in = axis, thumb.hole_in + thumb.oval_in
    rims = {"hole": _flatten_rim(axis, axis, thumb.hole_in, steps, (thumb.oval_in, thumb.oval_deg))}
    if bore:
        outer, size_in = _bore_axis(axis, bore), bore.bore_in
        rims["bore"] = _flatten_rim(axis, outer, bore.bore_in, steps)
    notch = None
    if (sleeve_in := solved.grip.sleeve_od_in) and solved.sleeve:
        outer, size_in = solved.sleeve, max(sleeve_in, bore.bore_in if bore else 0.0)
        rims["sleeve"] = _flatten_rim(axis, outer, sleeve_in, steps)
        if notch_deg is not None:
            notch = flatten(axis, surface_point(outer, sleeve_in / 2, notch_deg))
    ends = (size_in / 2, size_in / 2 + _HOUR_MARK_IN)
    hours = tuple(
        (
            flatten(axis, surface_point(outer, ends[0], hour * _HOUR_DEG)),
            flatten(axis, surface_point(outer, ends[1], hour * _HOUR_DEG)),
        )
        for hour in range(1, 13)
    )
    return RimDisc(rims, hours, notch, _lay_oval(axis, thumb.hole_in, thumb.oval_in, thumb.oval_deg))


def _flatten_rim(
    about: Axis, axis: Axis, diameter_in: float, steps: int, oval: tuple[float, float] = (0.0, 0.0)
) -> tuple[Point, ...]:
    return tuple(flatten(about, point.at) for point in rim_points(axis, diameter_in, *oval, steps=steps))


def _lay_oval(axis: Axis, hole_in: float, oval_in: float, oval_deg: float) -> tuple[Point, Point] | None:
    """The two ends of an oval's long axis on its rim; None for a round hole."""
    if not oval_in:
        return None
    half = (hole_in + oval_in) / 2
    return (
        flatten(axis, surface_point(axis, half, oval_deg)),
        flatten(axis, surface_point(axis, half, oval_deg + 180)),
    )
