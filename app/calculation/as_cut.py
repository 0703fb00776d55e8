"""A grip some of whose holes were cut otherwise than planned: where the holes are stays, and the spans follow."""

from dataclasses import replace

from app.calculation.grip import Finger, Grip, SolvedGrip, Thumb
from app.calculation.holes import FINGER, THUMB, Axis, edge_angle, facing, pitched_axis
from app.calculation.sphere import Vector, arc_angle, heading, travel

_ROUNDS = 3  # a hole that moves by 1/64 in changes its edge angle by less than 1e-4 of that at each round


def hold_places(solved: SolvedGrip, cut: Grip, is_thumb_held: bool) -> Grip:
    """`cut` with the cut spans and the cut bridge that follow where every hole starts from its place in `solved`.

    `cut` is the grip of `solved` with other sizes or pitches. A bit of another size or pitch is set by its own near
    edge, so that edge stays and the centre moves away from it; with `is_thumb_held` the thumb hole keeps its centre,
    since it shares that of its bore. Inches. Raises CannotBuildError for a hole without an edge. Source: derived.
    """
    thumb = solved.thumb.centre if is_thumb_held else _move_thumb(solved, cut)
    centres = {
        "middle": _move_finger(solved.middle, solved.grip.middle, cut.middle, solved.thumb.centre),
        "ring": _move_finger(solved.ring, solved.grip.ring, cut.ring, solved.thumb.centre),
    }
    radius = solved.thumb.radius_in
    axis = pitched_axis(thumb, cut.thumb.forward_in, cut.thumb.right_in, THUMB, radius)
    middle = pitched_axis(centres["middle"], cut.middle.forward_in, cut.middle.right_in, FINGER, radius)
    ring = pitched_axis(centres["ring"], cut.ring.forward_in, cut.ring.right_in, FINGER, radius)
    m_to_r, r_to_m = facing(middle.centre, ring.centre)
    edges = edge_angle(middle, m_to_r, cut.middle.cut_in) + edge_angle(ring, r_to_m, cut.ring.cut_in)
    return replace(
        cut,
        middle=replace(cut.middle, span_in=_cut_span_in(axis, cut.thumb, middle, cut.middle.cut_in)),
        ring=replace(cut.ring, span_in=_cut_span_in(axis, cut.thumb, ring, cut.ring.cut_in)),
        bridge_in=radius * (arc_angle(middle.centre, ring.centre) - edges),
        span_edges="cut",
        bridge_edges="cut",
    )


def _cut_span_in(axis: Axis, thumb: Thumb, finger: Axis, cut_in: float) -> float:
    outwards, back = facing(axis.centre, finger.centre)
    hole = edge_angle(axis, outwards, thumb.hole_in, thumb.oval_in, thumb.oval_deg)
    return axis.radius_in * (arc_angle(axis.centre, finger.centre) - hole - edge_angle(finger, back, cut_in))


def _move_finger(axis: Axis, planned: Finger, cut: Finger, thumb: Vector) -> Vector:
    """The centre of a finger hole whose near edge, towards the thumb's planned centre, stays where it was."""
    if (planned.cut_in, planned.forward_in, planned.right_in) == (cut.cut_in, cut.forward_in, cut.right_in):
        return axis.centre
    towards = heading(axis.centre, thumb)
    edge, centre = edge_angle(axis, towards, planned.cut_in), axis.centre
    for _ in range(_ROUNDS):
        moved = pitched_axis(centre, cut.forward_in, cut.right_in, FINGER, axis.radius_in)
        own = edge_angle(moved, heading(centre, thumb), cut.cut_in)
        centre = travel(axis.centre, towards, edge - own)
    return centre


def _move_thumb(solved: SolvedGrip, cut: Grip) -> Vector:
    """The centre of a thumb hole whose near edge on the centre line stays where it was."""
    axis, old, new = solved.thumb, solved.grip.thumb, cut.thumb
    if (old.hole_in, old.forward_in, old.right_in) == (new.hole_in, new.forward_in, new.right_in):
        return axis.centre
    edge, centre = edge_angle(axis, axis.long, old.hole_in, old.oval_in, old.oval_deg), axis.centre
    for _ in range(_ROUNDS):
        moved = pitched_axis(centre, new.forward_in, new.right_in, THUMB, axis.radius_in)
        own = edge_angle(moved, moved.long, new.hole_in, new.oval_in, new.oval_deg)
        centre = travel(axis.centre, axis.long, edge - own)
    return centre
