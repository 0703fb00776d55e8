"""The solver of a grip: where its holes go so that spans and bridge come out as asked, and what follows.

Three holes are solved here, fewer by `fewer_holes`. It needs no Jacobian, and a triangle that cannot close names its
field.
"""

import math
from dataclasses import dataclass, replace

from app.calculation.errors import CannotBuildError
from app.calculation.fewer_holes import solve_fewer
from app.calculation.grip import Finger, Grip, SolvedGrip, SpanEdges, Thumb
from app.calculation.holes import (
    FINGER,
    THUMB,
    Axis,
    axis_gap_in,
    edge_angle,
    facing,
    meeting_depth_in,
    pitched_axis,
)
from app.calculation.spans import find_angles, find_turn_to_middle, inside_edge, measure_spans, middle_side
from app.calculation.sphere import Vector, along_across_in, arc_angle, dot, frame, heading, place, travel
from app.calculation.triangles import arc_to, travel_off_line
from app.calculation.units import radius_in

_PLACE_TOLERANCE = 1e-13  # radians between two rounds, 4e-13 in on the ball
_ROUNDS = 80


@dataclass(frozen=True)
class _ThreeHoles(Grip):
    """A grip that has every hole and a bridge."""

    thumb: Thumb
    middle: Finger
    ring: Finger
    bridge_in: float


def solve_grip(grip: Grip) -> SolvedGrip:
    """Places the holes of a grip and measures what follows.

    The edges of a hole hardly depend on where the hole is, so: from the last places take the angle from each
    centre to its edges, add them to the spans and the bridge to get three sides of a spherical triangle, place
    that triangle in closed form, and go round until nothing moves (about eight rounds, each some fifty times
    closer). The centre line runs from the thumb's centre through the middle of the facing cut finger edges; the
    grip centre lies on it, half the mean cut span from the thumb's edge. An offset thumb stands beside it, and the
    half span ends at its edge straight ahead. `solve_fewer` places fewer holes than three.

    Raises CannotBuildError naming the field when the triangle cannot close.
    Source: spherical law of cosines; frame and edges as on the help page on geometry, which names the checks.
    """
    if not (grip.thumb and grip.middle and grip.ring):
        return solve_fewer(grip)
    if grip.bridge_in is None:
        raise CannotBuildError("bridge_in", "two fingers need their bridge")
    return replace(_solve_three(_ThreeHoles(**vars(grip))), grip=grip)


def _solve_three(grip: _ThreeHoles) -> SolvedGrip:
    if grip.span_edges == "sleeve" and grip.sleeve_od_in is None:
        raise CannotBuildError("sleeve_od_in", "spans to the sleeve's edge need the sleeve's outside diameter")
    places = _start_places(grip)
    edges: dict[str, float] = {}
    for _ in range(_ROUNDS):
        axes = _axes(grip, places)
        edges = _measure_edges(grip, axes, edges)
        moved = _place_holes(grip, edges, axes)
        shift = max(abs(a - b) for old, new in zip(places, moved, strict=True) for a, b in zip(old, new, strict=True))
        places = moved
        if shift < _PLACE_TOLERANCE:
            return _measure(grip, _axes(grip, places), edges)
    raise CannotBuildError("bridge_in", "no grip has these spans, bridge and pitches together")


def remeasure(
    grip: Grip, middle_in: float | None, ring_in: float | None, has_sleeve: bool, bridge_in: float | None = None
) -> SolvedGrip:
    """The grip that follows from spans measured after everything is cut flush (inches of arc, > 0).

    They run from the sleeve's edge to the cut finger edge, or without a sleeve from the finished thumb hole, or
    without a thumb hole from the grip centre; a finger that the grip has not has None. A `bridge_in` is measured
    between the cut edges. All else, the bridge if it is None included, is taken as in `grip`.
    """
    middle = replace(grip.middle, span_in=middle_in) if grip.middle and middle_in is not None else grip.middle
    ring = replace(grip.ring, span_in=ring_in) if grip.ring and ring_in is not None else grip.ring
    edges: SpanEdges = "sleeve" if has_sleeve else "cut"
    asked = replace(grip, middle=middle, ring=ring, span_edges=edges)
    return solve_grip(asked if bridge_in is None else replace(asked, bridge_in=bridge_in, bridge_edges="cut"))


def _start_places(grip: _ThreeHoles) -> tuple[Vector, Vector, Vector]:
    radius = radius_in(grip.circumference_in)
    side = middle_side(grip.hand)
    half = (grip.middle.span_in + grip.ring.span_in) / 4
    across = (grip.bridge_in + grip.middle.cut_in) / 2
    thumb = place(-half - grip.thumb.hole_in / 2, grip.thumb.offset_in, radius)
    finger_along = half + grip.middle.cut_in / 2
    return thumb, place(finger_along, side * across, radius), place(finger_along, -side * across, radius)


_Axes = tuple[Axis, Axis, Axis, Axis]  # thumb, middle, ring, and the sleeve about the thumb


def _axes(grip: _ThreeHoles, places: tuple[Vector, Vector, Vector]) -> _Axes:
    radius = radius_in(grip.circumference_in)
    thumb, middle, ring = grip.thumb, grip.middle, grip.ring
    return (
        pitched_axis(places[0], thumb.forward_in, thumb.right_in, THUMB, radius),
        pitched_axis(places[1], middle.forward_in, middle.right_in, FINGER, radius),
        pitched_axis(places[2], ring.forward_in, ring.right_in, FINGER, radius),
        pitched_axis(places[0], *(grip.sleeve_pitch_in or (thumb.forward_in, thumb.right_in)), THUMB, radius),
    )


def _measure_edges(grip: _ThreeHoles, axes: _Axes, last: dict[str, float]) -> dict[str, float]:
    """Angles from centres to edges that a round needs, by name; the last round's are where Newton starts."""
    thumb, middle, ring, sleeve = axes
    t_to_m, m_to_t = facing(thumb.centre, middle.centre)
    t_to_r, r_to_t = facing(thumb.centre, ring.centre)
    m_to_r, r_to_m = facing(middle.centre, ring.centre)
    edges: dict[str, float] = {}

    def add_edge(
        name: str, axis: Axis, tangent: Vector, field: str, diameter_in: float, oval: tuple[float, float] = (0.0, 0.0)
    ) -> None:
        try:
            edges[name] = edge_angle(axis, tangent, diameter_in, oval[0], oval[1], last.get(name, 0.0))
        except CannotBuildError as error:
            raise CannotBuildError(field, error.message) from None

    t, m, r = grip.thumb, grip.middle, grip.ring
    for name, tangent in (("thumb_middle", t_to_m), ("thumb_ring", t_to_r), ("thumb_line", thumb.long)):
        add_edge(name, thumb, tangent, "thumb.hole_in", t.hole_in, (t.oval_in, t.oval_deg))
    add_edge("middle_cut", middle, m_to_t, "middle.cut_in", m.cut_in)
    add_edge("ring_cut", ring, r_to_t, "ring.cut_in", r.cut_in)
    add_edge("middle_bridge_cut", middle, m_to_r, "middle.cut_in", m.cut_in)
    add_edge("ring_bridge_cut", ring, r_to_m, "ring.cut_in", r.cut_in)
    if grip.span_edges == "finished":
        edges["middle_finished"] = inside_edge(middle, m_to_t, m, "middle", last.get("middle_finished", 0.0))
        edges["ring_finished"] = inside_edge(ring, r_to_t, r, "ring", last.get("ring_finished", 0.0))
    if grip.span_edges == "sleeve" and grip.sleeve_od_in:
        add_edge("sleeve_middle", sleeve, t_to_m, "sleeve_od_in", grip.sleeve_od_in)
        add_edge("sleeve_ring", sleeve, t_to_r, "sleeve_od_in", grip.sleeve_od_in)
    if grip.bridge_edges == "finished":
        last_middle, last_ring = last.get("middle_bridge_finished", 0.0), last.get("ring_bridge_finished", 0.0)
        edges["middle_bridge_finished"] = inside_edge(middle, m_to_r, m, "middle", last_middle)
        edges["ring_bridge_finished"] = inside_edge(ring, r_to_m, r, "ring", last_ring)
    return edges


def _place_holes(grip: _ThreeHoles, edges: dict[str, float], axes: _Axes) -> tuple[Vector, Vector, Vector]:
    """The three centres that give the asked spans and bridge with these edge angles."""
    radius = axes[0].radius_in
    thumb_edge = "sleeve" if grip.span_edges == "sleeve" else "thumb"
    finger_edge = "finished" if grip.span_edges == "finished" else "cut"
    to_middle = grip.middle.span_in / radius + edges[f"{thumb_edge}_middle"] + edges[f"middle_{finger_edge}"]
    to_ring = grip.ring.span_in / radius + edges[f"{thumb_edge}_ring"] + edges[f"ring_{finger_edge}"]
    base = (
        grip.bridge_in / radius
        + edges[f"middle_bridge_{grip.bridge_edges}"]
        + edges[f"ring_bridge_{grip.bridge_edges}"]
    )
    cut_spans = (
        to_middle - edges["thumb_middle"] - edges["middle_cut"] + to_ring - edges["thumb_ring"] - edges["ring_cut"]
    )
    bridge_cut = base - edges["middle_bridge_cut"] - edges["ring_bridge_cut"]
    at_middle, at_thumb = find_angles(to_middle, to_ring, base)
    to_midpoint = edges["middle_bridge_cut"] + bridge_cut / 2
    toward_middle = find_turn_to_middle(to_middle, to_midpoint, at_middle)
    thumb, turn = _place_thumb(grip, axes[0], edges["thumb_line"], radius * cut_spans / 4), 0.0
    if grip.thumb.offset_in:
        turn = _turn_to_line(thumb, arc_to(to_middle, to_midpoint, at_middle))
    side = middle_side(grip.hand)
    return (
        thumb,
        travel_off_line(thumb, turn + side * toward_middle, to_middle),
        travel_off_line(thumb, turn + side * (toward_middle - at_thumb), to_ring),
    )


def _place_thumb(grip: _ThreeHoles, axis: Axis, edge: float, half_span_in: float) -> Vector:
    """The thumb's centre: its edge straight ahead lies half a span behind the grip centre, by its own `along`."""
    offset = grip.thumb.offset_in
    if not offset:
        return place(-(axis.radius_in * edge + half_span_in), 0.0, axis.radius_in)
    ahead = along_across_in(travel(axis.centre, axis.long, edge), axis.radius_in)[0]
    return place(along_across_in(axis.centre, axis.radius_in)[0] - ahead - half_span_in, offset, axis.radius_in)


def _turn_to_line(thumb: Vector, to_midpoint: float) -> float:
    """The turn in radians, to the right of straight ahead, from an offset thumb to the midpoint on the centre line."""
    along, across = math.atan2(thumb[1], thumb[2]), math.asin(thumb[0])
    if math.cos(to_midpoint) > math.cos(across):
        raise CannotBuildError("thumb.offset_in", "the thumb stands too far off the centre line")
    ahead = along + math.acos(math.cos(to_midpoint) / math.cos(across))
    towards = heading(thumb, (0.0, math.sin(ahead), math.cos(ahead)))
    long, right = frame(thumb)
    return math.atan2(dot(towards, right), dot(towards, long))


def _measure(grip: _ThreeHoles, axes: _Axes, edges: dict[str, float]) -> SolvedGrip:
    thumb, middle, ring, sleeve = axes
    m_to_r, r_to_m = facing(middle.centre, ring.centre)
    between = arc_angle(middle.centre, ring.centre)
    bridge_cut = between - edge_angle(middle, m_to_r, grip.middle.cut_in) - edge_angle(ring, r_to_m, grip.ring.cut_in)
    bridge_finished = between - inside_edge(middle, m_to_r, grip.middle) - inside_edge(ring, r_to_m, grip.ring)
    meet_radius = (grip.middle.cut_in + grip.ring.cut_in) / 2
    bored = sleeve if grip.sleeve_od_in else thumb
    thumb_radius = (grip.sleeve_od_in or grip.thumb.hole_in + grip.thumb.oval_in) / 2
    web_fingers = axis_gap_in(middle, grip.middle.depth_in, ring, grip.ring.depth_in) - meet_radius
    return SolvedGrip(
        grip=grip,
        thumb=thumb,
        middle=middle,
        ring=ring,
        sleeve=sleeve,
        middle_spans=measure_spans(grip.sleeve_od_in, grip.thumb, grip.middle, (thumb, sleeve, middle)),
        ring_spans=measure_spans(grip.sleeve_od_in, grip.thumb, grip.ring, (thumb, sleeve, ring)),
        bridge_cut_in=middle.radius_in * bridge_cut,
        bridge_finished_in=middle.radius_in * bridge_finished,
        web_thumb_middle_in=axis_gap_in(bored, grip.thumb.depth_in, middle, grip.middle.depth_in)
        - thumb_radius
        - grip.middle.cut_in / 2,
        web_thumb_ring_in=axis_gap_in(bored, grip.thumb.depth_in, ring, grip.ring.depth_in)
        - thumb_radius
        - grip.ring.cut_in / 2,
        web_middle_ring_in=web_fingers,
        fingers_meet_at_in=meeting_depth_in(middle, grip.middle.depth_in, ring, grip.ring.depth_in, meet_radius)
        if web_fingers < 0
        else None,
    )
