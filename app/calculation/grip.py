"""The grip: where three holes go so that two spans and a bridge come out as asked, and what follows from them.

The solver (`solve_grip`) needs no Jacobian, and a triangle that cannot close names its field.
"""

import math
from dataclasses import dataclass, replace
from typing import Literal

from app.calculation.errors import CannotBuildError
from app.calculation.holes import FINGER, THUMB, Axis, axis_gap_in, edge_angle, facing, meeting_depth_in, pitched_axis
from app.calculation.sphere import Vector, along_across_in, arc_angle, place
from app.calculation.triangles import angle_opposite, travel_off_line
from app.calculation.units import radius_in

SpanEdges = Literal["cut", "finished", "sleeve"]
BridgeEdges = Literal["cut", "finished"]
Hand = Literal["right", "left"]

_PLACE_TOLERANCE = 1e-13  # radians between two rounds, 4e-13 in on the ball
_ROUNDS = 80


@dataclass(frozen=True)
class Thumb:
    """The finished thumb hole. Inches; `oval_deg` clockwise from the fingers seen from outside; pitch signed."""

    hole_in: float
    forward_in: float = 0.0
    right_in: float = 0.0
    oval_in: float = 0.0
    oval_deg: float = 0.0
    depth_in: float = 2.75


@dataclass(frozen=True)
class Finger:
    """One finger hole: `cut_in` as bored, `hole_in` the inside of its insert, `span_in` to the thumb."""

    span_in: float
    cut_in: float
    hole_in: float
    forward_in: float = 0.0
    right_in: float = 0.0
    depth_in: float = 1.0


@dataclass(frozen=True)
class Grip:
    """Everything asked of one grip in one ball. `span_edges` and `bridge_edges` say what the numbers were taken to.

    The sleeve runs along the thumb hole's own axis unless `sleeve_pitch_in` gives its (forward, right) pitch: some
    shops bore straight and tilt the hole inside the inner.
    """

    circumference_in: float
    hand: Hand
    thumb: Thumb
    middle: Finger
    ring: Finger
    bridge_in: float
    span_edges: SpanEdges = "cut"
    bridge_edges: BridgeEdges = "cut"
    sleeve_od_in: float | None = None
    sleeve_pitch_in: tuple[float, float] | None = None


@dataclass(frozen=True)
class Spans:
    """One finger's span by each set of edges, inches of arc; `sleeve_to_cut_in` is None without a sleeve."""

    cut_in: float
    finished_in: float
    sleeve_to_cut_in: float | None


@dataclass(frozen=True)
class SolvedGrip:
    """A grip worked out: axes, spans by all edges, bridge and webs (inches; negative where holes run together)."""

    grip: Grip
    thumb: Axis
    middle: Axis
    ring: Axis
    sleeve: Axis
    middle_spans: Spans
    ring_spans: Spans
    bridge_cut_in: float
    bridge_finished_in: float
    web_thumb_middle_in: float
    web_thumb_ring_in: float
    web_middle_ring_in: float
    fingers_meet_at_in: float | None

    @property
    def half_span_in(self) -> float:
        """Distance in inches of the thumb's cut line from the grip centre: half the mean cut span."""
        return (self.middle_spans.cut_in + self.ring_spans.cut_in) / 4


def solve_grip(grip: Grip) -> SolvedGrip:
    """Places the three holes and measures what follows.

    The edges of a hole hardly depend on where the hole is, so: from the last places take the angle from each
    centre to its edges, add them to the spans and the bridge to get three sides of a spherical triangle, place
    that triangle in closed form, and go round until nothing moves (about eight rounds, each some fifty times
    closer). The centre line runs from the thumb's centre through the middle of the facing cut finger edges; the
    grip centre lies on it, half the mean cut span from the thumb's edge.

    Raises CannotBuildError naming the field when the triangle cannot close.
    Source: spherical law of cosines; frame and edges as on the help page on geometry, which names the checks.
    """
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


def remeasure(grip: Grip, middle_in: float, ring_in: float, has_sleeve: bool) -> SolvedGrip:
    """The grip that follows from spans measured after everything is cut flush (inches of arc, > 0).

    They run from the sleeve's edge to the cut finger edge, or without a sleeve from the finished thumb hole. All
    else, the bridge included, is taken as in `grip`.
    """
    middle, ring = replace(grip.middle, span_in=middle_in), replace(grip.ring, span_in=ring_in)
    edges: SpanEdges = "sleeve" if has_sleeve else "cut"
    return solve_grip(replace(grip, middle=middle, ring=ring, span_edges=edges))


def _start_places(grip: Grip) -> tuple[Vector, Vector, Vector]:
    radius = radius_in(grip.circumference_in)
    side = _middle_side(grip.hand)
    half = (grip.middle.span_in + grip.ring.span_in) / 4
    across = (grip.bridge_in + grip.middle.cut_in) / 2
    thumb = place(-half - grip.thumb.hole_in / 2, 0.0, radius)
    finger_along = half + grip.middle.cut_in / 2
    return thumb, place(finger_along, side * across, radius), place(finger_along, -side * across, radius)


def _middle_side(hand: Hand) -> int:
    return -1 if hand == "right" else 1


_Axes = tuple[Axis, Axis, Axis, Axis]  # thumb, middle, ring, and the sleeve about the thumb


def _axes(grip: Grip, places: tuple[Vector, Vector, Vector]) -> _Axes:
    radius = radius_in(grip.circumference_in)
    thumb, middle, ring = grip.thumb, grip.middle, grip.ring
    return (
        pitched_axis(places[0], thumb.forward_in, thumb.right_in, THUMB, radius),
        pitched_axis(places[1], middle.forward_in, middle.right_in, FINGER, radius),
        pitched_axis(places[2], ring.forward_in, ring.right_in, FINGER, radius),
        pitched_axis(places[0], *(grip.sleeve_pitch_in or (thumb.forward_in, thumb.right_in)), THUMB, radius),
    )


def _measure_edges(grip: Grip, axes: _Axes, last: dict[str, float]) -> dict[str, float]:
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
        add_edge("middle_finished", middle, m_to_t, "middle.hole_in", m.hole_in)
        add_edge("ring_finished", ring, r_to_t, "ring.hole_in", r.hole_in)
    if grip.span_edges == "sleeve" and grip.sleeve_od_in:
        add_edge("sleeve_middle", sleeve, t_to_m, "sleeve_od_in", grip.sleeve_od_in)
        add_edge("sleeve_ring", sleeve, t_to_r, "sleeve_od_in", grip.sleeve_od_in)
    if grip.bridge_edges == "finished":
        add_edge("middle_bridge_finished", middle, m_to_r, "middle.hole_in", m.hole_in)
        add_edge("ring_bridge_finished", ring, r_to_m, "ring.hole_in", r.hole_in)
    return edges


def _place_holes(grip: Grip, edges: dict[str, float], axes: _Axes) -> tuple[Vector, Vector, Vector]:
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
    at_middle, at_thumb = _angles(grip, to_middle, to_ring, base)
    to_midpoint = edges["middle_bridge_cut"] + bridge_cut / 2
    toward_middle = math.atan2(
        math.sin(to_midpoint) * math.sin(at_middle),
        math.cos(to_midpoint) * math.sin(to_middle) - math.sin(to_midpoint) * math.cos(to_middle) * math.cos(at_middle),
    )
    thumb = place(-(radius * edges["thumb_line"] + radius * cut_spans / 4), 0.0, radius)
    side = _middle_side(grip.hand)
    return (
        thumb,
        travel_off_line(thumb, side * toward_middle, to_middle),
        travel_off_line(thumb, side * (toward_middle - at_thumb), to_ring),
    )


def _angles(grip: Grip, to_middle: float, to_ring: float, base: float) -> tuple[float, float]:
    """(angle at the middle finger, angle at the thumb), radians, of the triangle with these sides."""
    if base >= to_middle + to_ring:
        raise CannotBuildError("bridge_in", "the bridge is too wide for these spans")
    if base <= abs(to_middle - to_ring):
        longer = "middle" if to_middle > to_ring else "ring"
        raise CannotBuildError(
            f"{longer}.span_in", "the two spans differ by more than the distance between the finger holes"
        )
    if max(to_middle, to_ring) >= math.pi / 2:
        raise CannotBuildError("middle.span_in", "the fingers are more than a quarter of the ball from the thumb")
    return angle_opposite(to_ring, to_middle, base), angle_opposite(base, to_middle, to_ring)


def _measure(grip: Grip, axes: _Axes, edges: dict[str, float]) -> SolvedGrip:
    thumb, middle, ring, sleeve = axes
    m_to_r, r_to_m = facing(middle.centre, ring.centre)
    between = arc_angle(middle.centre, ring.centre)
    bridge = {
        name: middle.radius_in * (between - edge_angle(middle, m_to_r, middle_in) - edge_angle(ring, r_to_m, ring_in))
        for name, middle_in, ring_in in (
            ("cut", grip.middle.cut_in, grip.ring.cut_in),
            ("finished", grip.middle.hole_in, grip.ring.hole_in),
        )
    }
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
        middle_spans=_spans(grip, thumb, sleeve, middle, grip.middle),
        ring_spans=_spans(grip, thumb, sleeve, ring, grip.ring),
        bridge_cut_in=bridge["cut"],
        bridge_finished_in=bridge["finished"],
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


def _spans(grip: Grip, thumb: Axis, sleeve_axis: Axis, axis: Axis, finger: Finger) -> Spans:
    outwards, back = facing(thumb.centre, axis.centre)
    between = arc_angle(thumb.centre, axis.centre)
    hole = edge_angle(thumb, outwards, grip.thumb.hole_in, grip.thumb.oval_in, grip.thumb.oval_deg)
    cut, finished = edge_angle(axis, back, finger.cut_in), edge_angle(axis, back, finger.hole_in)
    sleeve = edge_angle(sleeve_axis, outwards, grip.sleeve_od_in) if grip.sleeve_od_in else None
    return Spans(
        cut_in=axis.radius_in * (between - hole - cut),
        finished_in=axis.radius_in * (between - hole - finished),
        sleeve_to_cut_in=None if sleeve is None else axis.radius_in * (between - sleeve - cut),
    )


def place_in(axis: Axis) -> tuple[float, float]:
    """(along, across) in inches of arc of a hole's centre from the grip centre."""
    return along_across_in(axis.centre, axis.radius_in)
