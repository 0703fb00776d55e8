"""Drawings as numbers: every path here comes from the calculation, in inches, y down as SVG has it.

Rims are cubic pieces through exact points with exact tangents, within 1e-6 in of the cylinder on the sphere. Printed
pictures carry attributes instead of classes, because the SVG of a PDF knows no style sheet.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import lru_cache
from math import cos, hypot, pi, sin, tan

from app.calculation.grip import SolvedGrip
from app.calculation.holes import Axis, RimPoint, edge_angle, facing, rim_points, surface_point
from app.calculation.sections import BoreSection, Plane, bore_section, plane_through
from app.calculation.sphere import Vector, arc_angle, combine, heading, place, travel
from app.calculation.walls import Solid, Wall
from app.measures.wording import inches, pitch_words
from app.models.old_holes import PlannedOldHole
from app.models.plans import Plan
from app.services.old_walls import build_old_solid
from app.services.work_outs import WorkedOut, build_solids

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
    grip = solved.grip
    radius = solved.thumb.radius_in
    thumb = grip.thumb
    shapes, _ = _draw_old_holes(old, radius)
    shapes += [
        Shape("line", _draw_arc((0.0, -sin(1.1), cos(1.1)), (0.0, sin(1.1), cos(1.1)), radius), "centre line"),
        Shape("line", _draw_arc((-sin(0.6), 0.0, cos(0.6)), (sin(0.6), 0.0, cos(0.6)), radius), "midline"),
        _draw_cut_line(solved),
    ]
    labels = []
    if grip.sleeve_od_in:
        shapes.append(Shape("sleeve", _draw_rim_curve(rim_points(solved.sleeve, grip.sleeve_od_in)), "outer sleeve"))
        if notch_deg is not None:
            shapes.append(_draw_notch(solved.sleeve, grip.sleeve_od_in, notch_deg))
    finished = rim_points(solved.thumb, thumb.hole_in, thumb.oval_in, thumb.oval_deg)
    shapes.append(Shape("hole", _draw_rim_curve(finished), f"thumb hole {inches(thumb.hole_in)}"))
    shapes.append(_draw_pitch_arrow(solved.thumb, thumb.forward_in, thumb.right_in, 1, "thumb"))
    for name, axis, finger in (("middle", solved.middle, grip.middle), ("ring", solved.ring, grip.ring)):
        shapes.append(Shape("bore", _draw_rim_curve(rim_points(axis, finger.cut_in)), f"{name} as bored"))
        if finger.hole_in < finger.cut_in:
            words = f"{name} hole {inches(finger.hole_in)}"
            shapes.append(Shape("hole", _draw_rim_curve(rim_points(axis, finger.hole_in)), words))
        shapes.append(_draw_pitch_arrow(axis, finger.forward_in, finger.right_in, -1, name))
        spans = solved.middle_spans if name == "middle" else solved.ring_spans
        shapes.append(_draw_span(solved, axis, finger.cut_in, f"cut span to {name} {inches(spans.cut_in)}"))
        outwards = 1 if axis.centre[0] > 0 else -1
        x, y = _find_middle(solved.thumb, axis)
        labels.append(Label(x + outwards * 0.25, y, inches(spans.cut_in), "start" if outwards > 0 else "end"))
        labels.append(Label(radius * axis.centre[0], -radius * axis.centre[1] - 0.75, name))
    labels.append(Label(0.0, -radius * solved.thumb.centre[1] + 1.05, "thumb"))
    words = (
        f"Grip seen from outside, {grip.hand} hand, fingers up. "
        f"Cut spans: middle {inches(solved.middle_spans.cut_in)}, ring {inches(solved.ring_spans.cut_in)}. "
        f"Bridge {inches(solved.bridge_cut_in)}."
    )
    return GripPicture(radius, tuple(shapes), tuple(labels), words)


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
    thumb, grip = solved.thumb, solved.grip
    outwards, back = facing(thumb.centre, axis.centre)
    start = edge_angle(thumb, outwards, grip.thumb.hole_in, grip.thumb.oval_in, grip.thumb.oval_deg)
    return Shape(
        "span", _draw_arc(thumb.centre, axis.centre, axis.radius_in, start, edge_angle(axis, back, cut_in)), words
    )


def _find_middle(a: Axis, b: Axis) -> tuple[float, float]:
    point = travel(a.centre, heading(a.centre, b.centre), arc_angle(a.centre, b.centre) / 2)
    return a.radius_in * point[0], -a.radius_in * point[1]


def _draw_cut_line(solved: SolvedGrip) -> Shape:
    """The thumb's cut line, square to the centre line at the thumb's edge."""
    angle = -solved.half_span_in / solved.thumb.radius_in
    y = solved.thumb.radius_in * sin(angle)
    return Shape(
        "cut-line", f"M-0.8 {-y:.4f} L0.8 {-y:.4f}", f"thumb cut line {inches(solved.half_span_in)} from centre"
    )


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


@dataclass(frozen=True)
class SectionPicture:
    """The ball sawn along the great circle of thumb and one finger; inches, up out of the ball."""

    finger: str
    radius_in: float
    shapes: tuple[Shape, ...]
    labels: tuple[Label, ...]
    words: str


def draw_section(plan: Plan, worked: WorkedOut, finger: str) -> SectionPicture:
    """Draws bores, inner, lock and finger hole in the plane through the thumb's and one finger's centre."""
    solved = worked.solved
    grip, bore, solids = solved.grip, plan.bore, build_solids(plan, solved)
    axis, spec = getattr(solved, finger), getattr(grip, finger)
    plane = plane_through(solved.thumb.centre, axis.centre)
    drawn: list[tuple[str, BoreSection | None, str]] = []
    for hole in plan.old_holes:
        old = _cut_section(plane, build_old_solid(hole, axis.radius_in))
        drawn.append(("plug" if hole.is_filled else "old", old, _describe_old_hole(hole)))
    if bore:
        solid = solids["thumb"][0]
        floor = solid.depth_in
        drawn.append(("sleeve", _cut_section(plane, solid), f"sleeve bore{_mark_assumed(worked, 'bore')}"))
        if plan.inner:
            inner = Solid(solid.axis, plan.inner.outside_in, min(plan.inner.length_in, floor))
            drawn.append(("bore", _cut_section(plane, inner), f"inner {inches(plan.inner.outside_in)}"))
        lock = plan.system.lock_depth_in if plan.system else None
        if lock and lock < floor:
            seat = bore_section(plane, solid.axis, solid.bore_in, lock, min(lock + 0.06, floor))
            drawn.append(("notch", seat, f"lock {inches(lock)} down"))
    words = f"thumb hole {inches(grip.thumb.hole_in)}{_mark_assumed(worked, 'thumb')}"
    drawn.append(("hole", _cut_section(plane, solids["thumb"][-1]), words))
    bored = solids[finger][0]
    drawn.append(("bore", _cut_section(plane, bored), f"{finger} as bored{_mark_assumed(worked, finger)}"))
    if spec.hole_in < spec.cut_in:
        inside = replace(bored, bore_in=spec.hole_in)
        drawn.append(("hole", _cut_section(plane, inside), f"{finger} hole {inches(spec.hole_in)}"))
    shapes = tuple(Shape(kind, _draw_polygon(cut.outline), words) for kind, cut, words in drawn if cut)
    radius = solved.thumb.radius_in
    marks = [(plane.point(solved.thumb.centre), "thumb"), (plane.point(axis.centre), finger)]
    labels = tuple(Label(1.09 * radius * x, -1.06 * radius * y, name) for (x, y), name in marks)
    left = describe_wall(worked.walls[f"thumb_{finger}"])
    caption = f"Section through thumb and {finger} finger. Wall between the two holes inside the ball: {left}."
    return SectionPicture(finger, radius, shapes, labels, caption + _describe_assumed_depths(worked, finger))


def describe_wall(wall: Wall) -> str:
    """`0.513 in`, or how deep two holes are when they break into each other."""
    if wall.meets_from_in is None:
        return f"{wall.least_in:.3f} in"
    return f"0, they break into each other from {wall.meets_from_in:.2f} in down"


def _cut_section(plane: Plane, solid: Solid) -> BoreSection | None:
    point = 0.0 if solid.point_deg >= 180 else solid.bore_in / 2 / tan(solid.point_deg * pi / 360)
    shape = (solid.axis, solid.bore_in, 0.0, solid.depth_in)
    return bore_section(plane, *shape, oval_in=solid.oval_in, oval_deg=solid.oval_deg, point_in=point)


def _mark_assumed(worked: WorkedOut, hole: str) -> str:
    return ", its depth ASSUMED" if hole in worked.assumed_depths else ""


def _describe_assumed_depths(worked: WorkedOut, finger: str) -> str:
    names = [name for name in ("bore", "thumb", finger) if name in worked.assumed_depths]
    return f" Depth of the {' and the '.join(names)} ASSUMED." if names else ""


def _draw_polygon(outline: Sequence[tuple[float, float]]) -> str:
    return "M" + " L".join(f"{x:.5f} {-y:.5f}" for x, y in outline) + " Z"


def _draw_old_holes(holes: Iterable[PlannedOldHole], radius_in: float) -> tuple[list[Shape], list[Label]]:
    """The rims of old holes on the near side of the ball, as they are seen, and their names."""
    shapes, labels = [], []
    for hole in holes:
        axis = hole.shape.find_axis(radius_in)
        if axis.centre[2] > _NEAR:
            rim = _draw_rim_curve(rim_points(axis, hole.shape.cut_in))
            shapes.append(Shape("plug" if hole.is_filled else "old", rim, _describe_old_hole(hole)))
            below = hole.shape.cut_in / 2 + 0.32
            labels.append(Label(radius_in * axis.centre[0], below - radius_in * axis.centre[1], hole.name))
    return shapes, labels


def _describe_old_hole(hole: PlannedOldHole) -> str:
    return f"old {hole.name}, {'filled' if hole.is_filled else 'open'}{', ' + hole.filling if hole.filling else ''}"


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
    told = ", ".join(_describe_old_hole(hole) for hole in holes) or "none"
    labels.append(Label(-0.35, 0.1, "mark", "end"))
    return GripPicture(radius_in, tuple(shapes), tuple(labels), f"Old holes about the mark: {told}.")
