"""A grip some of whose holes were cut otherwise than planned: where the holes are stays, and the spans follow."""

from dataclasses import replace

from app.calculation.grip import GRIP_CENTRE, Finger, FingerName, Grip, SolvedGrip, Thumb
from app.calculation.holes import FINGER, THUMB, Axis, edge_angle, facing, pitched_axis
from app.calculation.sphere import Vector, arc_angle, heading, travel

_ROUNDS = 3  # a hole that moves by 1/64 in changes its edge angle by less than 1e-4 of that at each round


def hold_places(solved: SolvedGrip, cut: Grip, is_thumb_held: bool) -> Grip:
    """`cut` with the cut spans and the cut bridge that follow where every hole starts from its place in `solved`.

    `cut` is the grip of `solved` with other sizes or pitches. A bit of another size or pitch is set by its own near
    edge, so that edge stays and the centre moves away from it; with `is_thumb_held` the thumb hole keeps its centre,
    since it shares that of its bore. Inches. Raises CannotBuildError for a hole without an edge. Source: derived.
    """
    thumb = _hold_thumb(solved, cut, is_thumb_held)
    axes: dict[FingerName, Axis] = {}
    for name, axis in solved.fingers.items():
        finger = cut.fingers[name]
        centre = _move_finger(axis, solved.grip.fingers[name], finger, solved.anchor)
        axes[name] = pitched_axis(centre, finger.forward_in, finger.right_in, FINGER, axis.radius_in)
    fingers = {
        name: replace(cut.fingers[name], span_in=_cut_span_in(thumb, cut.thumb, axis, cut.fingers[name].cut_in))
        for name, axis in axes.items()
    }
    return replace(
        cut,
        middle=fingers.get("middle"),
        ring=fingers.get("ring"),
        bridge_in=_cut_bridge_in(axes["middle"], axes["ring"], cut) if len(axes) > 1 else None,
        span_edges="cut",
        bridge_edges="cut",
    )


def _hold_thumb(solved: SolvedGrip, cut: Grip, is_thumb_held: bool) -> Axis | None:
    """The axis of the thumb hole as it is cut; None in a grip without one."""
    if solved.thumb is None or solved.grip.thumb is None or cut.thumb is None:
        return None
    centre = solved.thumb.centre if is_thumb_held else _move_thumb(solved.thumb, solved.grip.thumb, cut.thumb)
    return pitched_axis(centre, cut.thumb.forward_in, cut.thumb.right_in, THUMB, solved.radius_in)


def _cut_bridge_in(middle: Axis, ring: Axis, cut: Grip) -> float:
    m_to_r, r_to_m = facing(middle.centre, ring.centre)
    sizes = {name: finger.cut_in for name, finger in cut.fingers.items()}
    edges = edge_angle(middle, m_to_r, sizes["middle"]) + edge_angle(ring, r_to_m, sizes["ring"])
    return middle.radius_in * (arc_angle(middle.centre, ring.centre) - edges)


def _cut_span_in(axis: Axis | None, thumb: Thumb | None, finger: Axis, cut_in: float) -> float:
    """The cut span of a finger; without a thumb hole its cut reach from the grip centre."""
    anchor = axis.centre if axis else GRIP_CENTRE
    outwards, back = facing(anchor, finger.centre)
    hole = edge_angle(axis, outwards, thumb.hole_in, thumb.oval_in, thumb.oval_deg) if axis and thumb else 0.0
    return finger.radius_in * (arc_angle(anchor, finger.centre) - hole - edge_angle(finger, back, cut_in))


def _move_finger(axis: Axis, planned: Finger, cut: Finger, anchor: Vector) -> Vector:
    """The centre of a finger hole whose near edge, towards the planned anchor of its span, stays where it was."""
    if (planned.cut_in, planned.forward_in, planned.right_in) == (cut.cut_in, cut.forward_in, cut.right_in):
        return axis.centre
    towards = heading(axis.centre, anchor)
    edge, centre = edge_angle(axis, towards, planned.cut_in), axis.centre
    for _ in range(_ROUNDS):
        moved = pitched_axis(centre, cut.forward_in, cut.right_in, FINGER, axis.radius_in)
        own = edge_angle(moved, heading(centre, anchor), cut.cut_in)
        centre = travel(axis.centre, towards, edge - own)
    return centre


def _move_thumb(axis: Axis, old: Thumb, new: Thumb) -> Vector:
    """The centre of a thumb hole whose near edge straight ahead stays where it was."""
    if (old.hole_in, old.forward_in, old.right_in) == (new.hole_in, new.forward_in, new.right_in):
        return axis.centre
    edge, centre = edge_angle(axis, axis.long, old.hole_in, old.oval_in, old.oval_deg), axis.centre
    for _ in range(_ROUNDS):
        moved = pitched_axis(centre, new.forward_in, new.right_in, THUMB, axis.radius_in)
        own = edge_angle(moved, moved.long, new.hole_in, new.oval_in, new.oval_deg)
        centre = travel(axis.centre, axis.long, edge - own)
    return centre
