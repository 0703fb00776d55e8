"""Sections of the ball as drawings: every path comes from the calculation, in inches, y down as SVG has it."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import pi, tan

from app.calculation.holes import Axis, shift_axis
from app.calculation.sections import BoreSection, Plane, bore_section, plane_through
from app.calculation.sphere import arc_angle
from app.calculation.walls import Solid, Wall
from app.measures.wording import inches
from app.models.old_holes import PlannedOldHole
from app.models.plans import Plan
from app.pages.pictures import Label, Shape, describe_old_hole
from app.services.old_walls import build_old_solid
from app.services.work_outs import WorkedOut, build_solids

_OVER_EACH_OTHER = 0.02  # radians between two centres: nearer, one plane through both says nothing


@dataclass(frozen=True)
class SectionPicture:
    """The ball sawn along the great circle of thumb and one finger, or of both fingers; inches, up out of the ball."""

    finger: str
    radius_in: float
    shapes: tuple[Shape, ...]
    labels: tuple[Label, ...]
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
    marks = [(other, f"old {old.name}")]  # the new one would be named over it
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
    shapes = tuple(Shape(kind, _draw_polygon(cut.outline), words) for kind, cut, words in drawn if cut)
    marks = [(plane.point(axis.centre), name) for axis, name in told.marks]
    labels = tuple(Label(1.09 * radius * x, -1.06 * radius * y, name) for (x, y), name in marks)
    return SectionPicture(told.finger, radius, shapes, labels, told.words)


_Part = tuple[str, BoreSection | None, str]  # kind, section, words


def _draw_old_hole(plane: Plane, hole: PlannedOldHole, radius_in: float) -> _Part:
    kind = "plug" if hole.is_filled else "old"
    return kind, _cut_section(plane, build_old_solid(hole, radius_in)), describe_old_hole(hole)


def _list_parts(plan: Plan, worked: WorkedOut, plane: Plane, hole: str) -> list[_Part]:
    """What one hole's section shows, the outermost first."""
    solids = build_solids(plan, worked.solved)[hole]
    if hole == "thumb":
        size = inches(worked.solved.grip.require_thumb().hole_in)
        words = f"thumb hole {size}{_mark_assumed(worked, 'thumb')}"
        bored = _list_bore_parts(plan, worked, plane, solids[0]) if plan.bore else []
        return [*bored, ("hole", _cut_section(plane, solids[-1]), words)]
    bored_finger, finger = solids[0], getattr(worked.solved.grip, hole)
    parts: list[_Part] = [("bore", _cut_section(plane, bored_finger), f"{hole} as bored{_mark_assumed(worked, hole)}")]
    if finger.hole_in < finger.cut_in:
        axis = shift_axis(bored_finger.axis, finger.lift_in, finger.lift_deg)
        inside = replace(
            bored_finger, axis=axis, bore_in=finger.hole_in, oval_in=finger.oval_in, oval_deg=finger.oval_deg
        )
        parts.append(("hole", _cut_section(plane, inside), f"{hole} hole {inches(finger.hole_in)}"))
    return parts


def _list_bore_parts(plan: Plan, worked: WorkedOut, plane: Plane, solid: Solid) -> list[_Part]:
    """The bore of the sleeve, the inner in it, and its lock."""
    floor = solid.depth_in
    parts: list[_Part] = [("sleeve", _cut_section(plane, solid), f"sleeve bore{_mark_assumed(worked, 'bore')}")]
    if plan.inner:
        inner = Solid(solid.axis, plan.inner.outside_in, min(plan.inner.length_in, floor))
        parts.append(("bore", _cut_section(plane, inner), f"inner {inches(plan.inner.outside_in)}"))
    lock = plan.system.lock_depth_in if plan.system else None
    if lock and lock < floor:
        seat = bore_section(plane, solid.axis, solid.bore_in, lock, min(lock + 0.06, floor))
        parts.append(("notch", seat, f"lock {inches(lock)} down"))
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
