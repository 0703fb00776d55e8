"""Grips with fewer holes: two fingers without a thumb hole, or one finger and a thumb.

Without a thumb hole the palm's centre is marked with a plus: it is the grip centre, and each finger gives its reach, an
arc from there to its near edge. One finger and a thumb stand on the centre line, and there is no bridge.
"""

import math

from app.calculation.errors import CannotBuildError
from app.calculation.grip import GRIP_CENTRE, Finger, FingerName, Grip, SolvedGrip, Spans, Thumb
from app.calculation.holes import FINGER, THUMB, Axis, axis_gap_in, edge_angle, facing, meeting_depth_in, pitched_axis
from app.calculation.spans import find_angles, find_turn_to_middle, inside_edge, measure_spans, middle_side
from app.calculation.sphere import Vector, arc_angle, heading, place
from app.calculation.triangles import travel_off_line
from app.calculation.units import radius_in

_TOLERANCE = 1e-13  # radians between two rounds
_ROUNDS = 80


def solve_fewer(grip: Grip) -> SolvedGrip:
    """Places two holes and measures what follows; raises CannotBuildError naming the field.

    Source: as `solve_grip`; the checks are named on the help page on geometry.
    """
    if grip.thumb is None:
        return _solve_without_thumb(grip)
    if grip.span_edges == "sleeve" and grip.sleeve_od_in is None:
        raise CannotBuildError("sleeve_od_in", "spans to the sleeve's edge need the sleeve's outside diameter")
    if grip.middle is not None and grip.ring is None:
        return _solve_one_finger(grip, grip.thumb, "middle", grip.middle)
    if grip.ring is not None and grip.middle is None:
        return _solve_one_finger(grip, grip.thumb, "ring", grip.ring)
    raise CannotBuildError("middle", "a grip with a thumb and no finger, or with all three, is not one of two holes")


# Without a thumb hole -------------------------------------------------------------------------------------------------


def _solve_without_thumb(grip: Grip) -> SolvedGrip:
    middle, ring, bridge_in = grip.middle, grip.ring, grip.bridge_in
    if middle is None or ring is None:
        raise CannotBuildError("thumb", "one finger alone has no grip: give the thumb or the other finger")
    if bridge_in is None:
        raise CannotBuildError("bridge_in", "two fingers need their bridge")
    if grip.span_edges == "sleeve":
        raise CannotBuildError("span_edges", "without a thumb hole there is no sleeve to reach from")
    radius, side = radius_in(grip.circumference_in), middle_side(grip.hand)
    across = (bridge_in + middle.cut_in) / 2
    places = (
        place(middle.span_in + middle.cut_in / 2, side * across, radius),
        place(ring.span_in + ring.cut_in / 2, -side * across, radius),
    )
    for _ in range(_ROUNDS):
        axes = _finger_axis(middle, places[0], radius), _finger_axis(ring, places[1], radius)
        moved = _place_fingers(grip, middle, ring, bridge_in, axes)
        shift = max(abs(a - b) for old, new in zip(places, moved, strict=True) for a, b in zip(old, new, strict=True))
        places = moved
        if shift < _TOLERANCE:
            break
    else:
        raise CannotBuildError("bridge_in", "no grip has these reaches, bridge and pitches together")
    return _measure_without_thumb(grip, middle, ring, axes)


def _finger_axis(finger: Finger, centre: Vector, radius: float) -> Axis:
    return pitched_axis(centre, finger.forward_in, finger.right_in, FINGER, radius)


def _edge(axis: Axis, tangent: Vector, finger: Finger, digit: str, edges: str) -> float:
    if edges == "finished":
        return inside_edge(axis, tangent, finger, digit)
    try:
        return edge_angle(axis, tangent, finger.cut_in)
    except CannotBuildError as error:
        raise CannotBuildError(f"{digit}.cut_in", error.message) from None


def _place_fingers(
    grip: Grip, middle: Finger, ring: Finger, bridge_in: float, axes: tuple[Axis, Axis]
) -> tuple[Vector, Vector]:
    """The two centres that give the asked reaches and bridge with the edge angles of these axes."""
    m, r = axes
    m_to_r, r_to_m = facing(m.centre, r.centre)
    to_middle = middle.span_in / m.radius_in + _edge(
        m, heading(m.centre, GRIP_CENTRE), middle, "middle", grip.span_edges
    )
    to_ring = ring.span_in / m.radius_in + _edge(r, heading(r.centre, GRIP_CENTRE), ring, "ring", grip.span_edges)
    bridge_edges = grip.bridge_edges
    base = (
        bridge_in / m.radius_in
        + _edge(m, m_to_r, middle, "middle", bridge_edges)
        + _edge(r, r_to_m, ring, "ring", bridge_edges)
    )
    cut_middle, cut_ring = _edge(m, m_to_r, middle, "middle", "cut"), _edge(r, r_to_m, ring, "ring", "cut")
    at_middle, at_centre = find_angles(to_middle, to_ring, base, "reach_in")
    to_midpoint = cut_middle + (base - cut_middle - cut_ring) / 2
    turn, side = find_turn_to_middle(to_middle, to_midpoint, at_middle), middle_side(grip.hand)
    return (
        travel_off_line(GRIP_CENTRE, side * turn, to_middle),
        travel_off_line(GRIP_CENTRE, side * (turn - at_centre), to_ring),
    )


def _measure_without_thumb(grip: Grip, middle: Finger, ring: Finger, axes: tuple[Axis, Axis]) -> SolvedGrip:
    m, r = axes
    m_to_r, r_to_m = facing(m.centre, r.centre)
    between = arc_angle(m.centre, r.centre)
    bridge = {
        edges: m.radius_in
        * (between - _edge(m, m_to_r, middle, "middle", edges) - _edge(r, r_to_m, ring, "ring", edges))
        for edges in ("cut", "finished")
    }
    meet_radius = (middle.cut_in + ring.cut_in) / 2
    web = axis_gap_in(m, middle.depth_in, r, ring.depth_in) - meet_radius
    return SolvedGrip(
        grip=grip,
        thumb=None,
        middle=m,
        ring=r,
        sleeve=None,
        middle_spans=_measure_reach(m, middle, "middle"),
        ring_spans=_measure_reach(r, ring, "ring"),
        bridge_cut_in=bridge["cut"],
        bridge_finished_in=bridge["finished"],
        web_thumb_middle_in=None,
        web_thumb_ring_in=None,
        web_middle_ring_in=web,
        fingers_meet_at_in=meeting_depth_in(m, middle.depth_in, r, ring.depth_in, meet_radius) if web < 0 else None,
    )


def _measure_reach(axis: Axis, finger: Finger, digit: str) -> Spans:
    back, whole = heading(axis.centre, GRIP_CENTRE), arc_angle(GRIP_CENTRE, axis.centre)
    cut, finished = (_edge(axis, back, finger, digit, edges) for edges in ("cut", "finished"))
    return Spans(axis.radius_in * (whole - cut), axis.radius_in * (whole - finished), None)


# One finger and a thumb -----------------------------------------------------------------------------------------------


def _solve_one_finger(grip: Grip, thumb: Thumb, digit: FingerName, finger: Finger) -> SolvedGrip:
    if grip.bridge_in is not None:
        raise CannotBuildError("bridge_in", "one finger has no bridge")
    if thumb.offset_in:
        raise CannotBuildError("thumb.offset_in", "with one finger both holes stand on the centre line")
    radius = radius_in(grip.circumference_in)
    alongs = (-finger.span_in / 2 - thumb.hole_in / 2, finger.span_in / 2 + finger.cut_in / 2)
    for _ in range(_ROUNDS):
        t, sleeve = _thumb_axes(grip, thumb, place(alongs[0], 0.0, radius))
        f = _finger_axis(finger, place(alongs[1], 0.0, radius), radius)
        spans = measure_spans(grip.sleeve_od_in, thumb, finger, (t, sleeve, f))
        told = {"cut": spans.cut_in, "finished": spans.finished_in, "sleeve": spans.sleeve_to_cut_in}
        missing = finger.span_in - (told[grip.span_edges] or 0.0)
        line = _thumb_edge(t, thumb)
        cut_span = spans.cut_in + missing
        wanted = -(radius * line + cut_span / 2)
        moved = (wanted, alongs[1] + missing + wanted - alongs[0])
        if max(moved) >= math.pi / 2 * radius or min(moved) <= -math.pi / 2 * radius:
            raise CannotBuildError(f"{digit}.span_in", "the finger is more than a quarter of the ball from the thumb")
        shift = max(abs(a - b) for a, b in zip(alongs, moved, strict=True)) / radius
        alongs = moved
        if shift < _TOLERANCE:
            return _measure_one_finger(grip, thumb, digit, finger, (t, sleeve, f))
    raise CannotBuildError(f"{digit}.span_in", "no grip has this span and these pitches together")


def _thumb_axes(grip: Grip, thumb: Thumb, centre: Vector) -> tuple[Axis, Axis]:
    radius, own = radius_in(grip.circumference_in), (thumb.forward_in, thumb.right_in)
    hole = pitched_axis(centre, *own, THUMB, radius)
    return hole, pitched_axis(centre, *(grip.sleeve_pitch_in or own), THUMB, radius)


def _thumb_edge(axis: Axis, thumb: Thumb) -> float:
    try:
        return edge_angle(axis, axis.long, thumb.hole_in, thumb.oval_in, thumb.oval_deg)
    except CannotBuildError as error:
        raise CannotBuildError("thumb.hole_in", error.message) from None


def _measure_one_finger(
    grip: Grip, thumb: Thumb, digit: FingerName, finger: Finger, axes: tuple[Axis, Axis, Axis]
) -> SolvedGrip:
    t, sleeve, f = axes
    spans = measure_spans(grip.sleeve_od_in, thumb, finger, axes)
    bored = sleeve if grip.sleeve_od_in else t
    thumb_radius = (grip.sleeve_od_in or thumb.hole_in + thumb.oval_in) / 2
    web = axis_gap_in(bored, thumb.depth_in, f, finger.depth_in) - thumb_radius - finger.cut_in / 2
    is_middle = digit == "middle"
    return SolvedGrip(
        grip=grip,
        thumb=t,
        middle=f if is_middle else None,
        ring=None if is_middle else f,
        sleeve=sleeve,
        middle_spans=spans if is_middle else None,
        ring_spans=None if is_middle else spans,
        bridge_cut_in=None,
        bridge_finished_in=None,
        web_thumb_middle_in=web if is_middle else None,
        web_thumb_ring_in=None if is_middle else web,
        web_middle_ring_in=None,
        fingers_meet_at_in=None,
    )
