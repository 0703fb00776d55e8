"""Marks of a grip as a driller lays them out on a ball: by square and tape from lines that can be drawn there.

Nothing is measured from a hole's centre or from an edge that no line shows. The holes of a grip follow from the centre
line, the grip centre and these marks alone.
"""

from dataclasses import dataclass
from math import asin

from app.calculation.grip import FingerName, SolvedGrip
from app.calculation.holes import Axis, edge_angle
from app.calculation.sphere import Vector, along_across_in, arc_angle, heading, travel, unit


@dataclass(frozen=True)
class FingerMarks:
    """Two marks that a finger's bit touches, inches of arc on the ball.

    `tape_in` runs from the thumb's cut line, where its own line crosses it, to the near edge of the hole as bored;
    without a thumb hole it is the reach from the palm's plus. `half_bridge_in` lies square off the centre line, on the
    finger's side, 0 or more; None where the grip has one finger.
    """

    tape_in: float
    half_bridge_in: float | None


@dataclass(frozen=True)
class GripMarks:
    """The marks of a grip. Inches of arc from the grip centre.

    `cut_line_in` runs back along the centre line to the thumb's cut line, which is square to it; `thumb_line_in` then
    along the cut line, right positive, to the thumb's own line: 0 for a thumb on the centre line. Both are None without
    a thumb hole.
    """

    cut_line_in: float | None
    thumb_line_in: float | None
    fingers: dict[FingerName, FingerMarks]


def lay_out(solved: SolvedGrip) -> GripMarks:
    """Returns the marks of a worked-out grip, each along a great circle that can be drawn on the ball.

    A near edge lies on the great circle through the hole's centre, so a bit whose edge touches the arc of the tape and
    the line of half the bridge stands in its place. Raises CannotBuildError for a hole without an edge.
    Source: spherical trigonometry; checked against pyproj's geodesics and scipy's minimiser on sampled rims.
    """
    start, cut_line_in, thumb_line_in = solved.anchor, None, None
    if solved.thumb:
        start = find_thumb_edge(solved, solved.thumb)
        back_in, thumb_line_in = along_across_in(start, solved.radius_in)
        cut_line_in = -back_in
    fingers = {}
    for name, axis in solved.fingers.items():
        cut_in = solved.grip.fingers[name].cut_in
        half_bridge_in = _measure_off_line(axis, cut_in) if len(solved.fingers) > 1 else None
        fingers[name] = FingerMarks(_tape(start, axis, cut_in), half_bridge_in)
    return GripMarks(cut_line_in, thumb_line_in, fingers)


def find_thumb_edge(solved: SolvedGrip, thumb: Axis) -> Vector:
    """Returns the unit vector of the finished thumb hole's edge straight ahead of its centre, oval counted."""
    hole = solved.grip.require_thumb()
    return travel(thumb.centre, thumb.long, edge_angle(thumb, thumb.long, hole.hole_in, hole.oval_in, hole.oval_deg))


def _tape(start: Vector, axis: Axis, cut_in: float) -> float:
    """The arc from a point to the near edge of a bored hole, inches, on the great circle through the hole's centre."""
    edge = edge_angle(axis, heading(axis.centre, start), cut_in)
    return axis.radius_in * (arc_angle(start, axis.centre) - edge)


def _measure_off_line(axis: Axis, cut_in: float) -> float:
    """The arc from the centre line square to the near edge of a bored hole, inches; less than 0 beyond the line."""
    foot = unit((0.0, axis.centre[1], axis.centre[2]))
    edge = edge_angle(axis, heading(axis.centre, foot), cut_in)
    return axis.radius_in * (asin(abs(axis.centre[0])) - edge)
