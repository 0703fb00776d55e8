"""Sections of the ball as drawings: every path comes from the calculation, in inches, y down as SVG has it."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import cos, hypot, pi, sin, tan

from app.calculation.holes import Axis, shift_axis
from app.calculation.sections import BoreSection, Plane, bore_section, plane_through
from app.calculation.sphere import arc_angle
from app.calculation.walls import Solid, Wall
from app.measures.wording import inches, mark_words
from app.models.old_holes import PlannedOldHole
from app.models.plans import Plan
from app.pages.ground import Box, Point
from app.pages.labels import Lettering, Wish, place_labels
from app.pages.lettering import set_line
from app.pages.pictures import Shape, describe_old_hole
from app.services.old_walls import build_old_solid
from app.services.work_outs import WorkedOut, build_solids

_VIEW: Box = (-4.9, -5.0, 4.9, 0.1)
_LETTER = 0.38
_OVER_EACH_OTHER = 0.02  # radians between two centres: nearer, one plane through both says nothing


@dataclass(frozen=True)
class SectionPicture:
    """The ball sawn along the great circle of thumb and one finger, or of both fingers; inches, up out of the ball."""

    finger: str
    radius_in: float
    shapes: tuple[Shape, ...]
    lettering: Lettering
    words: str


def draw_sections(plan: Plan, worked: WorkedOut) -> list[SectionPicture]:
    """Draws the section through thumb and each finger; without a thumb hole that through both fingers."""
    if worked.solved.thumb is None:
        return [draw_section_between(plan, worked, ("middle", "ring"))]
    return [draw_section(plan, worked, finger) for finger in worked.fingers]


def draw_section(plan: Plan, worked: WorkedOut, finger: str) -> SectionPicture:
    """Draws bores, inner, lock and finger hole in the plane through the thumb's and one finger's centre."""
    return draw_section_between(plan, worked, ("thumb", finger))


def draw_section_at(plan: Plan, worked: WorkedOut, hole: str, old: PlannedOldHole) -> SectionPicture | None:
    """Draws the section through a new hole and an old one; None where one lies over the other: no plane is theirs."""
    radius = worked.solved.radius_in
    axis, other = worked.solved.holes[hole], old.shape.find_axis(radius)
    if arc_angle(axis.centre, other.centre) < _OVER_EACH_OTHER:
        return None
    plane = plane_through(axis.centre, other.centre)
    left = next(told.describe(hole) for told in worked.old_walls if told.hole is old)
    marks = [(axis, hole), (other, f"old {old.name}")]
    caption = f"Section through {hole} and the old {old.name}. Between the two: {left}."
    return _draw_plane(plan, worked, plane, (hole,), _Told(hole, marks, caption))


def draw_section_between(plan: Plan, worked: WorkedOut, pair: tuple[str, str]) -> SectionPicture:
    """Draws the section through the centres of two holes of the grip: of thumb and a finger, or of both fingers."""
    axes = [worked.solved.holes[name] for name in pair]
    plane = plane_through(axes[0].centre, axes[1].centre)
    left = describe_wall(worked.walls["_".join(pair)])
    through = f"thumb and {pair[1]} finger" if pair[0] == "thumb" else "both fingers"
    caption = f"Section through {through}. Wall between the two holes inside the ball: {left}."
    told = _Told(pair[1], list(zip(axes, pair, strict=True)), caption + _describe_assumed_depths(worked, pair))
    return _draw_plane(plan, worked, plane, pair, told)


@dataclass(frozen=True)
class _Told:
    finger: str
    marks: Sequence[tuple[Axis, str]]
    words: str


def _draw_plane(plan: Plan, worked: WorkedOut, plane: Plane, names: tuple[str, ...], told: _Told) -> SectionPicture:
    """Draws what a plane cuts of the old holes and of these holes of the grip."""
    radius = worked.solved.radius_in
    drawn = [_draw_old_hole(plane, hole, radius) for hole in plan.old_holes]
    drawn += [part for name in names for part in _list_parts(plan, worked, plane, name)]
    shapes = [Shape(kind, _draw_polygon(cut.outline), words, (), parts) for kind, cut, words, parts in drawn if cut]
    depths = [_dimension(plan, worked, plane, name) for name in names]
    shapes += [depth.shape for depth in depths]
    wishes = [*(_note_name(plane, *mark) for mark in told.marks), *(depth.wish for depth in depths)]
    surface = [(-radius * cos(t * pi / 60), -radius * sin(t * pi / 60)) for t in range(61)]
    outlines = [[(x, -y) for x, y in cut.outline] for _, cut, _, _ in drawn if cut]
    lettering = place_labels(_VIEW, wishes, [surface, *outlines, *(depth.line for depth in depths)], outlines)
    return SectionPicture(told.finger, radius, tuple(shapes), lettering, told.words)


def _note_name(plane: Plane, axis: Axis, name: str) -> Wish:
    x, y = plane.point(axis.centre)
    line = set_line(name.capitalize(), _LETTER, "hole-name", is_bold=True)
    return Wish(((line,),), ((axis.radius_in * x, -axis.radius_in * y),), (x, -y), 0.06, (name, f"{name} hole"))


@dataclass(frozen=True)
class _Depth:
    """A depth as a dimension beside its bore: what is drawn, its line as points, and its figure."""

    shape: Shape
    line: tuple[Point, ...]
    wish: Wish


def _dimension(plan: Plan, worked: WorkedOut, plane: Plane, hole: str) -> _Depth:
    """The depth of one hole: a bore's from where its collar rests, another's from the surface on its axis."""
    solid = build_solids(plan, worked.solved)[hole][0]
    is_bore = hole == "thumb" and plan.bore is not None
    depth_in = plan.bore.depth_in if is_bore and plan.bore else solid.depth_in
    (ax, ay), (bx, by) = (plane.point(solid.axis.point(at)) for at in (solid.depth_in - depth_in, solid.depth_in))
    size = hypot(bx - ax, by - ay) or 1.0
    side = -1 if ax < 0 else 1  # the outer side: away from the other hole
    nx, ny = -(by - ay) / size, (bx - ax) / size
    nx, ny = (nx, ny) if nx * side > 0 else (-nx, -ny)
    off = solid.bore_in / 2 + solid.oval_in / 2 + 0.2
    start, end = (ax + nx * off, -ay - ny * off), (bx + nx * off, -by - ny * off)
    ticks = [((x - 0.1 * nx, y + 0.1 * ny), (x + 0.1 * nx, y - 0.1 * ny)) for x, y in (start, end)]
    path = " ".join(f"M{a[0]:.4f} {a[1]:.4f} L{b[0]:.4f} {b[1]:.4f}" for a, b in ((start, end), *ticks))
    parts = ("thumb bore", "bore") if is_bore else (hole, f"{hole} hole", f"{hole} bore")
    words = f"{'bore' if is_bore else hole} {inches(depth_in)} deep{', collar setting' if is_bore else ''}"
    middle = (start[0] + end[0]) / 2, (start[1] + end[1]) / 2
    wish = Wish(((set_line(mark_words(depth_in), _LETTER, "accent", is_bold=True),),), (middle,), (nx, -ny), 0.0, parts)
    return _Depth(Shape("dim", path, words, (), parts), (start, end), wish)


_Part = tuple[str, BoreSection | None, str, tuple[str, ...]]  # kind, section, words, names by which it is lit


def _draw_old_hole(plane: Plane, hole: PlannedOldHole, radius_in: float) -> _Part:
    kind = "plug" if hole.is_filled else "old"
    return kind, _cut_section(plane, build_old_solid(hole, radius_in)), describe_old_hole(hole), ("old holes",)


def _list_parts(plan: Plan, worked: WorkedOut, plane: Plane, hole: str) -> list[_Part]:
    """What one hole's section shows, the outermost first."""
    solids = build_solids(plan, worked.solved)[hole]
    if hole == "thumb":
        size = inches(worked.solved.grip.require_thumb().hole_in)
        words = f"thumb hole {size}{_mark_assumed(worked, 'thumb')}"
        bored = _list_bore_parts(plan, worked, plane, solids[0]) if plan.bore else []
        return [*bored, ("hole", _cut_section(plane, solids[-1]), words, ("thumb", "thumb hole"))]
    bored_finger, finger = solids[0], getattr(worked.solved.grip, hole)
    told, lit_as = f"{hole} as bored{_mark_assumed(worked, hole)}", (hole, f"{hole} bore")
    parts: list[_Part] = [("bore", _cut_section(plane, bored_finger), told, lit_as)]
    if finger.hole_in < finger.cut_in:
        axis = shift_axis(bored_finger.axis, finger.lift_in, finger.lift_deg)
        inside = replace(
            bored_finger, axis=axis, bore_in=finger.hole_in, oval_in=finger.oval_in, oval_deg=finger.oval_deg
        )
        parts.append(
            ("hole", _cut_section(plane, inside), f"{hole} hole {inches(finger.hole_in)}", (hole, f"{hole} hole"))
        )
    return parts


def _list_bore_parts(plan: Plan, worked: WorkedOut, plane: Plane, solid: Solid) -> list[_Part]:
    """The bore of the sleeve, the inner in it, and its lock."""
    floor = solid.depth_in
    bored = f"sleeve bore{_mark_assumed(worked, 'bore')}"
    parts: list[_Part] = [("sleeve", _cut_section(plane, solid), bored, ("thumb bore", "bore", "sleeve"))]
    if plan.inner:
        inner = Solid(solid.axis, plan.inner.outside_in, min(plan.inner.length_in, floor))
        parts.append(("bore", _cut_section(plane, inner), f"inner {inches(plan.inner.outside_in)}", ("inner",)))
    lock = plan.system.lock_depth_in if plan.system else None
    if lock and lock < floor:
        seat = bore_section(plane, solid.axis, solid.bore_in, lock, min(lock + 0.06, floor))
        parts.append(("notch", seat, f"lock {inches(lock)} down", ("lock",)))
    return parts


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


def _describe_assumed_depths(worked: WorkedOut, pair: tuple[str, str]) -> str:
    named = ("bore", *pair) if pair[0] == "thumb" else pair
    names = [name for name in named if name in worked.assumed_depths]
    return f" Depth of the {' and the '.join(names)} ASSUMED." if names else ""


def _draw_polygon(outline: Sequence[tuple[float, float]]) -> str:
    return "M" + " L".join(f"{x:.5f} {-y:.5f}" for x, y in outline) + " Z"
