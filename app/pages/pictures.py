"""Drawings as numbers: every path here comes from the calculation, in inches, y down as SVG has it.

Rims are cubic pieces through exact points with exact tangents, within 1e-6 in of the cylinder on the sphere. Printed
pictures carry attributes instead of classes, because the SVG of a PDF knows no style sheet.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from math import cos, hypot, sin, tan

from app.calculation.grip import FingerName, SolvedGrip
from app.calculation.holes import Axis, RimPoint, edge_angle, facing, rim_points, shift_axis, surface_point
from app.calculation.sphere import Vector, arc_angle, combine, heading, place, travel
from app.measures.wording import inches, pitch_words
from app.models.old_holes import PlannedOldHole

_ARROW_PER_INCH = 2.0  # a pitch of 1/4 in is drawn 1/2 in long
_ARC_STEPS = 16
_NEAR = 0.1  # how far towards the eye a place lies, of the radius, to be drawn


@dataclass(frozen=True)
class Shape:
    """One drawn thing: its CSS class, its SVG path, and what it is in words."""

    kind: str
    path: str
    words: str


@dataclass(frozen=True)
class Label:
    x: float
    y: float
    text: str
    anchor: str = "middle"


@dataclass(frozen=True)
class GripPicture:
    """The grip seen from outside, fingers up: a true parallel projection along the line through the grip centre."""

    radius_in: float
    shapes: tuple[Shape, ...]
    labels: tuple[Label, ...]
    words: str


@lru_cache(maxsize=300)
def draw_grip(solved: SolvedGrip, notch_deg: float | None = None, old: tuple[PlannedOldHole, ...] = ()) -> GripPicture:
    """Draws a worked-out grip: holes as they cut the ball, over old ones, spans, lines, pitch arrows, sleeve, notch."""
    radius = solved.radius_in
    shapes, _ = _draw_old_holes(old, radius)
    shapes += [
        Shape("line", _draw_arc((0.0, -sin(1.1), cos(1.1)), (0.0, sin(1.1), cos(1.1)), radius), "centre line"),
        Shape("line", _draw_arc((-sin(0.6), 0.0, cos(0.6)), (sin(0.6), 0.0, cos(0.6)), radius), "midline"),
        *(_draw_thumb(solved, notch_deg) if solved.thumb else [_PLUS]),
    ]
    labels = [Label(x, y, name) for name, (x, y) in _place_names(solved).items()]
    for name, axis in solved.fingers.items():
        shapes += _draw_finger(solved, name, axis)
        labels.append(_label_span(solved, axis, inches(solved.spans[name].cut_in)))
    return GripPicture(radius, tuple(shapes), tuple(labels), _describe_grip(solved))


# the plus that the palm is marked with: the grip centre of a grip without a thumb hole
_PLUS = Shape("cut-line", "M-0.3 0 L0.3 0 M0 -0.3 L0 0.3", "plus of the palm, the grip centre")


def _describe_grip(solved: SolvedGrip) -> str:
    said = "Cut spans" if solved.thumb else "Cut reaches from the plus"
    told = ", ".join(f"{name} {inches(spans.cut_in)}" for name, spans in solved.spans.items())
    bridge = "" if solved.bridge_cut_in is None else f" Bridge {inches(solved.bridge_cut_in)}."
    return f"Grip seen from outside, {solved.grip.hand} hand, fingers up. {said}: {told}.{bridge}"


def _draw_thumb(solved: SolvedGrip, notch_deg: float | None) -> list[Shape]:
    """The thumb's cut line, its sleeve with the notch, its hole and pitch."""
    grip, thumb, axis = solved.grip, solved.grip.require_thumb(), solved.require_thumb()
    shapes = [_draw_cut_line(solved, axis)]
    if grip.sleeve_od_in and solved.sleeve:
        shapes.append(Shape("sleeve", _draw_rim_curve(rim_points(solved.sleeve, grip.sleeve_od_in)), "outer sleeve"))
        if notch_deg is not None:
            shapes.append(_draw_notch(solved.sleeve, grip.sleeve_od_in, notch_deg))
    finished = rim_points(axis, thumb.hole_in, thumb.oval_in, thumb.oval_deg)
    shapes.append(Shape("hole", _draw_rim_curve(finished), f"thumb hole {inches(thumb.hole_in)}"))
    return [*shapes, _draw_pitch_arrow(axis, thumb.forward_in, thumb.right_in, 1, "thumb")]


def _draw_finger(solved: SolvedGrip, name: FingerName, axis: Axis) -> list[Shape]:
    """A finger hole as bored, the inside of its insert, its pitch, and its span or reach."""
    finger = solved.grip.fingers[name]
    shapes = [Shape("bore", _draw_rim_curve(rim_points(axis, finger.cut_in)), f"{name} as bored")]
    if finger.hole_in < finger.cut_in:
        inside = shift_axis(axis, finger.lift_in, finger.lift_deg)
        rim = rim_points(inside, finger.hole_in, finger.oval_in, finger.oval_deg)
        shapes.append(Shape("hole", _draw_rim_curve(rim), f"{name} hole {inches(finger.hole_in)}"))
    shapes.append(_draw_pitch_arrow(axis, finger.forward_in, finger.right_in, -1, name))
    words = f"cut {'span to' if solved.thumb else 'reach of'} {name} {inches(solved.spans[name].cut_in)}"
    return [*shapes, _draw_span(solved, axis, finger.cut_in, words)]


def _place_names(solved: SolvedGrip) -> dict[str, tuple[float, float]]:
    """Where the name of each hole stands, and of the plus."""
    radius = solved.radius_in
    below = {"thumb": 1.05, "middle": -0.75, "ring": -0.75}
    places = {n: (radius * a.centre[0], -radius * a.centre[1] + below[n]) for n, a in solved.holes.items()}
    return places if solved.thumb else places | {"plus": (0.0, 0.75)}


def _label_span(solved: SolvedGrip, axis: Axis, words: str) -> Label:
    """The span beside the middle of its arc, on the outer side; of one finger, on the right, above the midline."""
    outwards = -1 if axis.centre[0] < -1e-9 else 1
    point = travel(solved.anchor, heading(solved.anchor, axis.centre), arc_angle(solved.anchor, axis.centre) / 2)
    x, y = axis.radius_in * point[0], -axis.radius_in * point[1]
    y -= 0.3 if abs(axis.centre[0]) < 1e-9 else 0.0
    return Label(x + outwards * 0.25, y, words, "start" if outwards > 0 else "end")


def _format_point(point: Vector) -> str:
    return f"{point[0]:.7f} {-point[1]:.7f}"


def _draw_line(points: Iterable[Vector]) -> str:
    return "M" + " L".join(_format_point(p) for p in points)


def _draw_rim_curve(points: Sequence[RimPoint]) -> str:
    """A rim as cubic curves that stay within 1e-6 in of the true one: handles of (4/3)·tan(turn/4) a tangent."""
    pieces = [f"M{_format_point(points[0].at)}"]
    for a, b in zip(points, (*points[1:], points[0]), strict=True):
        reach = 4 / 3 * tan(a.arc_after / 4) if a.arc_after else 1 / 3
        out, back = combine(1.0, a.at, reach, a.after), combine(1.0, b.at, -reach, b.before)
        if a.arc_after or max(abs(x - y) for x, y in zip(a.at, b.at, strict=True)) > 1e-9:
            pieces.append(f"C{_format_point(out)} {_format_point(back)} {_format_point(b.at)}")
    return " ".join(pieces) + " Z"


def _draw_arc(a: Vector, b: Vector, radius: float, start: float = 0.0, end: float = 0.0) -> str:
    """The great circle from `start` radians past `a` to `end` radians before `b`."""
    tangent, whole = heading(a, b), arc_angle(a, b)
    steps = (start + (whole - start - end) * i / _ARC_STEPS for i in range(_ARC_STEPS + 1))
    return _draw_line(combine(radius, travel(a, tangent, angle), 0.0, a) for angle in steps)


def _draw_span(solved: SolvedGrip, axis: Axis, cut_in: float, words: str) -> Shape:
    anchor, thumb = solved.anchor, solved.grip.thumb
    outwards, back = facing(anchor, axis.centre)
    start = 0.0
    if solved.thumb and thumb:
        start = edge_angle(solved.thumb, outwards, thumb.hole_in, thumb.oval_in, thumb.oval_deg)
    return Shape("span", _draw_arc(anchor, axis.centre, axis.radius_in, start, edge_angle(axis, back, cut_in)), words)


def _draw_cut_line(solved: SolvedGrip, thumb: Axis) -> Shape:
    """The thumb's cut line, square to the centre line at the edge straight ahead of the thumb's centre."""
    half = solved.half_span_in or 0.0
    x, y = thumb.radius_in * thumb.centre[0], thumb.radius_in * sin(-half / thumb.radius_in)
    words = f"thumb cut line {inches(half)} from centre"
    return Shape("cut-line", f"M{x - 0.8:.4f} {-y:.4f} L{x + 0.8:.4f} {-y:.4f}", words)


def _draw_notch(sleeve: Axis, sleeve_od_in: float, notch_deg: float) -> Shape:
    """A mark on the ball's surface, its base on the sleeve's rim and its tip towards the axis, as it is seen."""
    reach = sleeve_od_in / 2
    corners = [(reach - 0.2, notch_deg), (reach, notch_deg - 8), (reach, notch_deg + 8)]
    return Shape(
        "notch", _draw_line(surface_point(sleeve, *corner) for corner in corners) + " Z", "where the notch points"
    )


def _draw_pitch_arrow(axis: Axis, forward_in: float, right_in: float, kind: int, name: str) -> Shape:
    """Where the bottom of the hole goes, as an arrow from the hole's centre along the ball's surface, as it is seen."""
    x, y = axis.radius_in * axis.centre[0], -axis.radius_in * axis.centre[1]
    way = combine(kind * forward_in, axis.long, right_in, axis.right)
    path = draw_arrow(x, y, way[0] * _ARROW_PER_INCH, -way[1] * _ARROW_PER_INCH)
    words = pitch_words(Fraction(forward_in), Fraction(right_in))
    return Shape("arrow", path, f"{name} pitch: {words}")


def draw_arrow(x: float, y: float, dx: float, dy: float, head: float = 0.12) -> str:
    """An arrow from (x, y) along (dx, dy); a small cross where there is nothing to point at."""
    size = hypot(dx, dy)
    if size < 1e-6:
        return f"M{x - head:.3f} {y:.3f} h{2 * head:.3f} M{x:.3f} {y - head:.3f} v{2 * head:.3f}"
    ux, uy = dx / size, dy / size
    tip = (x + dx, y + dy)
    left = (tip[0] - head * (ux + 0.6 * uy), tip[1] - head * (uy - 0.6 * ux))
    right = (tip[0] - head * (ux - 0.6 * uy), tip[1] - head * (uy + 0.6 * ux))
    return (
        f"M{x:.3f} {y:.3f} L{tip[0]:.3f} {tip[1]:.3f} "
        f"M{left[0]:.3f} {left[1]:.3f} L{tip[0]:.3f} {tip[1]:.3f} L{right[0]:.3f} {right[1]:.3f}"
    )


def draw_dial(right: float, down: float) -> str:
    """The arrow of a dial of radius 1, as long for any pitch; a small cross for a hole that goes straight."""
    size = hypot(right, down)
    if size < 1e-6:
        return draw_arrow(0, 0, 0, 0, 0.3)
    ux, uy = right / size, down / size
    return draw_arrow(-0.62 * ux, -0.62 * uy, 1.24 * ux, 1.24 * uy, 0.45)


def _draw_old_holes(holes: Iterable[PlannedOldHole], radius_in: float) -> tuple[list[Shape], list[Label]]:
    """The rims of old holes on the near side of the ball, as they are seen, and their names."""
    shapes, labels = [], []
    for hole in holes:
        axis = hole.shape.find_axis(radius_in)
        if axis.centre[2] > _NEAR:
            rim = _draw_rim_curve(rim_points(axis, hole.shape.cut_in))
            shapes.append(Shape("plug" if hole.is_filled else "old", rim, describe_old_hole(hole)))
            below = hole.shape.cut_in / 2 + 0.32
            labels.append(Label(radius_in * axis.centre[0], below - radius_in * axis.centre[1], hole.name))
    return shapes, labels


def describe_old_hole(hole: PlannedOldHole) -> str:
    """Returns `old thumb, filled, resin`."""
    filling, assumed = f", {hole.filling}" if hole.filling else "", ", drawn as ASSUMED" if hole.unknown else ""
    return f"old {hole.name}, {'filled' if hole.is_filled else 'open'}{filling}{assumed}"


def draw_old_holes(holes: Sequence[PlannedOldHole], radius_in: float) -> GripPicture:
    """Draws the old holes of a ball about its mark, each with the arcs along and across that lead to its middle."""
    shapes, labels = _draw_old_holes(holes, radius_in)
    line = _draw_arc((0.0, -sin(1.1), cos(1.1)), (0.0, sin(1.1), cos(1.1)), radius_in)
    shapes += [Shape("line", line, "centre line"), Shape("cut-line", "M-0.2 0 h0.4 M0 -0.2 v0.4", "the mark")]
    for shape in (hole.shape for hole in holes):
        beside, at = place(shape.along_in, 0.0, radius_in), place(shape.along_in, shape.across_in, radius_in)
        words = f"along {inches(abs(shape.along_in))}", f"across {inches(abs(shape.across_in))}"
        pairs = zip(((0.0, 0.0, 1.0), beside), (beside, at), words, strict=True)
        drawn = [pair for pair in pairs if at[2] > _NEAR and arc_angle(*pair[:2]) > 1e-6]
        shapes += [Shape("span", _draw_arc(a, b, radius_in), what) for a, b, what in drawn]
        if len(holes) == 1:
            off, anchor = (-0.15, "end") if shape.across_in > 0 else (0.15, "start")
            labels.append(Label(off, -radius_in * beside[1] / 2, words[0], anchor))
            labels.append(Label(radius_in * at[0] / 2, -radius_in * beside[1] - 0.15, words[1]))
    told = ", ".join(describe_old_hole(hole) for hole in holes) or "none"
    labels.append(Label(-0.35, 0.1, "mark", "end"))
    return GripPicture(radius_in, tuple(shapes), tuple(labels), f"Old holes about the mark: {told}.")
