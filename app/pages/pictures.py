"""Drawings as numbers: every path here comes from the calculation, in inches, y down as SVG has it.

Rims are cubic pieces through exact points with exact tangents, within 1e-6 in of the cylinder on the sphere. What a
drawing says in letters is told by `ball_notes` and placed by `ball_labels`.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from math import cos, pi, sin, sqrt, tan

from app.calculation.grip import GRIP_CENTRE, FingerName, SolvedGrip
from app.calculation.holes import Axis, RimPoint, edge_angle, facing, rim_points, shift_axis, surface_point
from app.calculation.sphere import Vector, arc_angle, combine, heading, place, travel
from app.measures.wording import inches, pitch_words
from app.models.old_holes import PlannedOldHole
from app.pages.arrows import draw_arrow
from app.pages.ball_notes import Note, follow_bridge, note_grip, note_old_holes

_ARROW_PER_INCH = 2.0  # a pitch of 1/4 in is drawn 1/2 in long
_ARC_STEPS = 16
_NEAR = 0.1  # how far towards the eye a place lies, of the radius, to be drawn
_DOT_IN = 0.07


@dataclass(frozen=True)
class Shape:
    """One drawn thing: its CSS class, its SVG path, and what it is in words.

    `points` run along it in space, inches from the ball's centre, for a view from elsewhere; an arrow's are its two
    ends. `parts` are the names by which it may be lit; one that is `only_lit` is drawn nowhere else.
    """

    kind: str
    path: str
    words: str
    points: tuple[Vector, ...] = ()
    parts: tuple[str, ...] = ()
    only_lit: bool = False


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
    notes: tuple[Note, ...]
    words: str


@lru_cache(maxsize=300)
def draw_grip(
    solved: SolvedGrip,
    notch: Fraction | None = None,
    old: tuple[PlannedOldHole, ...] = (),
    is_from_sleeve: bool = False,
) -> GripPicture:
    """Draws a worked-out grip: holes as they cut the ball, over old ones, spans, lines, pitch arrows, sleeve, notch.

    `notch` is its direction in degrees; a grip without a sleeve shows none. Spans are the cut ones, or as they are
    measured in the end from the sleeve's outside, if there is a sleeve.
    """
    is_from_sleeve = is_from_sleeve and bool(solved.grip.sleeve_od_in)
    radius, notch_deg = solved.radius_in, None if notch is None else float(notch)
    shapes = _draw_old_holes(old, radius)
    shapes += [_draw_centre_line(radius), _draw_midline(radius)]
    shapes += _draw_thumb(solved, notch_deg) if solved.thumb else [_draw_plus(radius)]
    for name, axis in solved.fingers.items():
        shapes += _draw_finger(solved, name, axis, is_from_sleeve)
    if solved.bridge_cut_in is not None:
        led = follow_bridge(solved)
        shapes.append(Shape("dim", _draw_line(led), "bridge", led, ("bridge",)))
    shapes += [_draw_pitch_arrow(solved, name) for name in solved.holes]
    shapes += _draw_bore_arrow(solved)
    if solved.thumb:
        shapes.append(_draw_centre_dot(radius))
    near = [(h, h.shape.find_axis(radius)) for h in old if _is_near(h, radius)]
    notes = note_grip(solved, notch_deg, near, is_from_sleeve)
    return GripPicture(radius, tuple(shapes), tuple(notes), _describe_grip(solved, is_from_sleeve))


def _draw_centre_line(radius: float) -> Shape:
    points = _follow_arc((0.0, -sin(1.1), cos(1.1)), (0.0, sin(1.1), cos(1.1)), radius)
    return Shape("line", _draw_line(points), "centre line", points, ("centre line", "lines"))


def _draw_midline(radius: float) -> Shape:
    """Short, so that labels have room beside it; it only says which way is across."""
    points = _follow_arc((-sin(0.25), 0.0, cos(0.25)), (sin(0.25), 0.0, cos(0.25)), radius)
    return Shape("line", _draw_line(points), "midline", points, ("midline", "lines"))


def _draw_centre_dot(radius: float) -> Shape:
    path = f"M{-_DOT_IN} 0 a{_DOT_IN} {_DOT_IN} 0 1 0 {2 * _DOT_IN} 0 a{_DOT_IN} {_DOT_IN} 0 1 0 {-2 * _DOT_IN} 0 Z"
    points = tuple(place(_DOT_IN * sin(t), _DOT_IN * cos(t), radius) for t in (i * pi / 6 for i in range(12)))
    grown = tuple(combine(radius, at, 0.0, at) for at in points)
    return Shape("dot", path, "grip centre", grown, ("grip centre", "lines"))


def _draw_plus(radius: float) -> Shape:
    """The plus that the palm is marked with: the grip centre of a grip without a thumb hole."""
    ends = ((-0.3, 0.0), (0.3, 0.0), (0.0, 0.0), (0.0, -0.3), (0.0, 0.3), (0.0, 0.0))
    points = tuple(_lift(x, y, radius) for x, y in ends)
    words = "plus of the palm, the grip centre"
    return Shape("cut-line", "M-0.3 0 L0.3 0 M0 -0.3 L0 0.3", words, points, ("plus", "grip centre", "lines"))


def _describe_grip(solved: SolvedGrip, is_from_sleeve: bool) -> str:
    said = "Sleeve to cut" if is_from_sleeve else "Cut spans" if solved.thumb else "Cut reaches from the plus"
    told = ", ".join(f"{name} {inches(spans.tell(is_from_sleeve))}" for name, spans in solved.spans.items())
    bridge = "" if solved.bridge_cut_in is None else f" Bridge {inches(solved.bridge_cut_in)}."
    return f"Grip seen from outside, {solved.grip.hand} hand, fingers up. {said}: {told}.{bridge}"


def _draw_thumb(solved: SolvedGrip, notch_deg: float | None) -> list[Shape]:
    """The thumb's sleeve with the notch, its hole, and its cut line over both."""
    grip, thumb, axis = solved.grip, solved.grip.require_thumb(), solved.require_thumb()
    shapes = []
    own: tuple[str, ...] = ("thumb", "thumb hole")
    if grip.sleeve_od_in and solved.sleeve:
        rim = rim_points(solved.sleeve, grip.sleeve_od_in)
        shapes.append(
            _draw_rim("sleeve", rim, f"outer sleeve {inches(grip.sleeve_od_in)}", ("thumb bore", "bore", "sleeve"))
        )
        if notch_deg is not None:
            shapes.append(_draw_notch(solved.sleeve, grip.sleeve_od_in, notch_deg))
    else:
        own = (*own, "thumb bore", "bore")
    finished = rim_points(axis, thumb.hole_in, thumb.oval_in, thumb.oval_deg)
    oval = f", {inches(thumb.oval_in)} oval" if thumb.oval_in else ""
    return [
        *shapes,
        _draw_rim("hole", finished, f"thumb hole {inches(thumb.hole_in)}{oval}", (*own, "oval")),
        _draw_cut_line(solved, axis),
    ]


def _draw_finger(solved: SolvedGrip, name: FingerName, axis: Axis, is_from_sleeve: bool) -> list[Shape]:
    """A finger hole as bored, the inside of its insert, and its span or reach."""
    finger = solved.grip.fingers[name]
    has_insert = finger.hole_in < finger.cut_in
    parts, bored = (name, f"{name} bore", "inserts"), rim_points(axis, finger.cut_in)
    shapes = [_draw_rim("bore" if has_insert else "hole", bored, f"{name} as bored", parts)]
    if has_insert:
        inside = shift_axis(axis, finger.lift_in, finger.lift_deg)
        rim = rim_points(inside, finger.hole_in, finger.oval_in, finger.oval_deg)
        shapes.append(_draw_rim("hole", rim, f"{name} hole {inches(finger.hole_in)}", (name, f"{name} hole")))
    said = "sleeve to cut of" if is_from_sleeve else "cut span to" if solved.thumb else "cut reach of"
    words = f"{said} {name} {inches(solved.spans[name].tell(is_from_sleeve))}"
    return [_draw_span(solved, name, words, is_from_sleeve), *shapes]


def _format_point(point: Vector) -> str:
    return f"{point[0]:.7f} {-point[1]:.7f}"


def _draw_line(points: Iterable[Vector]) -> str:
    return "M" + " L".join(_format_point(p) for p in points)


def _draw_rim(kind: str, rim: Sequence[RimPoint], words: str, parts: tuple[str, ...] = ()) -> Shape:
    return Shape(kind, _draw_rim_curve(rim), words, tuple(point.at for point in rim), parts)


def _draw_rim_curve(points: Sequence[RimPoint]) -> str:
    """A rim as cubic curves that stay within 1e-6 in of the true one: handles of (4/3)·tan(turn/4) a tangent."""
    pieces = [f"M{_format_point(points[0].at)}"]
    for a, b in zip(points, (*points[1:], points[0]), strict=True):
        reach = 4 / 3 * tan(a.arc_after / 4) if a.arc_after else 1 / 3
        out, back = combine(1.0, a.at, reach, a.after), combine(1.0, b.at, -reach, b.before)
        if a.arc_after or max(abs(x - y) for x, y in zip(a.at, b.at, strict=True)) > 1e-9:
            pieces.append(f"C{_format_point(out)} {_format_point(back)} {_format_point(b.at)}")
    return " ".join(pieces) + " Z"


def _follow_arc(a: Vector, b: Vector, radius: float, start: float = 0.0, end: float = 0.0) -> tuple[Vector, ...]:
    """Points along the great circle from `start` radians past `a` to `end` radians before `b`."""
    tangent, whole = heading(a, b), arc_angle(a, b)
    steps = (start + (whole - start - end) * i / _ARC_STEPS for i in range(_ARC_STEPS + 1))
    return tuple(combine(radius, travel(a, tangent, angle), 0.0, a) for angle in steps)


def _lift(x: float, y: float, radius: float) -> Vector:
    """The place of the surface that is seen at (x, y), y up."""
    return x, y, sqrt(max(radius * radius - x * x - y * y, 0.0))


def _draw_span(solved: SolvedGrip, name: FingerName, words: str, is_from_sleeve: bool) -> Shape:
    anchor, thumb, axis = solved.anchor, solved.grip.thumb, solved.fingers[name]
    cut_in = solved.grip.fingers[name].cut_in
    outwards, back = facing(anchor, axis.centre)
    start = 0.0
    if is_from_sleeve and solved.sleeve:
        start = edge_angle(solved.sleeve, outwards, solved.grip.sleeve_od_in or 0.0)
    elif solved.thumb and thumb:
        start = edge_angle(solved.thumb, outwards, thumb.hole_in, thumb.oval_in, thumb.oval_deg)
    points = _follow_arc(anchor, axis.centre, axis.radius_in, start, edge_angle(axis, back, cut_in))
    return Shape("span", _draw_line(points), words, points, ("spans", f"{name} span"))


def _draw_cut_line(solved: SolvedGrip, thumb: Axis) -> Shape:
    """The thumb's cut line, square to the centre line at the edge straight ahead of the thumb's centre."""
    half = solved.half_span_in or 0.0
    x, y = thumb.radius_in * thumb.centre[0], thumb.radius_in * sin(-half / thumb.radius_in)
    words = f"thumb cut line {inches(half)} from centre"
    points = tuple(_lift(x + 0.2 * i, y, thumb.radius_in) for i in range(-4, 5))
    path = f"M{x - 0.8:.4f} {-y:.4f} L{x + 0.8:.4f} {-y:.4f}"
    return Shape("cut-line", path, words, points, ("cut line", "lines"))


def _draw_notch(sleeve: Axis, sleeve_od_in: float, notch_deg: float) -> Shape:
    """A mark on the ball's surface, its base on the sleeve's rim and its tip towards the axis, as it is seen."""
    reach = sleeve_od_in / 2
    corners = [(reach - 0.2, notch_deg), (reach, notch_deg - 8), (reach, notch_deg + 8)]
    points = tuple(surface_point(sleeve, *corner) for corner in corners)
    return Shape("notch", _draw_line(points) + " Z", "where the notch points", points, ("notch",))


def _draw_pitch_arrow(solved: SolvedGrip, name: str) -> Shape:
    """Where the bottom of the hole goes, as an arrow from the hole's centre along the ball's surface, as it is seen."""
    if name == "thumb":
        thumb = solved.grip.require_thumb()
        forward, right, kind = thumb.forward_in, thumb.right_in, 1
        is_of_bore = not solved.grip.sleeve_od_in or solved.grip.sleeve_pitch_in in {None, (forward, right)}
        parts: tuple[str, ...] = ("thumb", "thumb hole", *(("thumb bore", "bore") if is_of_bore else ()))
    else:
        finger = solved.grip.fingers["middle" if name == "middle" else "ring"]
        forward, right, kind = finger.forward_in, finger.right_in, -1
        parts = (name, f"{name} bore", f"{name} hole")
    return _draw_arrow_on(solved.holes[name], (forward, right), kind, name, (*parts, f"{name} pitch", "pitches"))


def _draw_bore_arrow(solved: SolvedGrip) -> list[Shape]:
    """The pitch of a bore that differs from the thumb hole's, for the drawing in which the bore is lit."""
    pitch, thumb = solved.grip.sleeve_pitch_in, solved.grip.thumb
    if not solved.sleeve or not pitch or not thumb or pitch == (thumb.forward_in, thumb.right_in):
        return []
    drawn = _draw_arrow_on(solved.sleeve, pitch, 1, "thumb bore", ("thumb bore", "bore"))
    return [Shape(drawn.kind, drawn.path, drawn.words, drawn.points, drawn.parts, only_lit=True)]


def _draw_arrow_on(axis: Axis, pitch: tuple[float, float], kind: int, name: str, parts: tuple[str, ...]) -> Shape:
    x, y = axis.radius_in * axis.centre[0], -axis.radius_in * axis.centre[1]
    way = combine(kind * pitch[0], axis.long, pitch[1], axis.right)
    path = draw_arrow(x, y, way[0] * _ARROW_PER_INCH, -way[1] * _ARROW_PER_INCH)
    words = pitch_words(Fraction(pitch[0]), Fraction(pitch[1]))
    ends = axis.point(0.0), combine(1.0, axis.point(0.0), _ARROW_PER_INCH, way)
    return Shape("arrow", path, f"{name} pitch: {words}", ends, parts)


def _is_near(hole: PlannedOldHole, radius_in: float) -> bool:
    return hole.shape.find_axis(radius_in).centre[2] > _NEAR


def _draw_old_holes(holes: Iterable[PlannedOldHole], radius_in: float) -> list[Shape]:
    """The rims of old holes on the near side of the ball, as they are seen."""
    shapes = []
    for hole in holes:
        if _is_near(hole, radius_in):
            rim = rim_points(hole.shape.find_axis(radius_in), hole.shape.cut_in)
            shapes.append(_draw_rim("plug" if hole.is_filled else "old", rim, describe_old_hole(hole), ("old holes",)))
    return shapes


def describe_old_hole(hole: PlannedOldHole) -> str:
    """Returns `old thumb, filled, resin`."""
    filling, assumed = f", {hole.filling}" if hole.filling else "", ", drawn as ASSUMED" if hole.unknown else ""
    return f"old {hole.name}, {'filled' if hole.is_filled else 'open'}{filling}{assumed}"


def draw_old_holes(holes: Sequence[PlannedOldHole], radius_in: float) -> GripPicture:
    """Draws the old holes of a ball about its mark, each with the arcs along and across that lead to its middle."""
    shapes = [*_draw_old_holes(holes, radius_in), _draw_centre_line(radius_in)]
    mark = tuple(_lift(x, y, radius_in) for x, y in ((-0.2, 0.0), (0.2, 0.0), (0.0, 0.0), (0.0, -0.2), (0.0, 0.2)))
    shapes.append(Shape("cut-line", "M-0.2 0 h0.4 M0 -0.2 v0.4", "the mark", mark, ("mark",)))
    arcs: list[tuple[tuple[Vector, ...], float]] = []
    for shape in (hole.shape for hole in holes):
        beside, at = place(shape.along_in, 0.0, radius_in), place(shape.along_in, shape.across_in, radius_in)
        words = f"along {inches(abs(shape.along_in))}", f"across {inches(abs(shape.across_in))}"
        pairs = zip((GRIP_CENTRE, beside), (beside, at), words, (shape.along_in, shape.across_in), strict=True)
        for a, b, what, length in pairs:
            if at[2] > _NEAR and arc_angle(a, b) > 1e-6:
                points = _follow_arc(a, b, radius_in)
                shapes.append(Shape("span", _draw_line(points), what, points, ("spans",)))
                arcs.append((points, abs(length)))
    told = ", ".join(describe_old_hole(hole) for hole in holes) or "none"
    near = [(hole, hole.shape.find_axis(radius_in)) for hole in holes if _is_near(hole, radius_in)]
    notes = note_old_holes(near, arcs if len(holes) == 1 else [])
    return GripPicture(radius_in, tuple(shapes), tuple(notes), f"Old holes about the mark: {told}.")
