"""What a grip is: three holes as they are asked for, and the grip worked out from them (`grip_solver`)."""

import math
from dataclasses import dataclass
from typing import Literal

from app.calculation.holes import Axis
from app.calculation.sphere import along_across_in

SpanEdges = Literal["cut", "finished", "sleeve"]
BridgeEdges = Literal["cut", "finished"]
Hand = Literal["right", "left"]


@dataclass(frozen=True)
class Thumb:
    """The finished thumb hole. Inches; `oval_deg` clockwise from the fingers seen from outside; pitch signed.

    `offset_in` is how far its centre stands across the centre line, to the right positive.
    """

    hole_in: float
    forward_in: float = 0.0
    right_in: float = 0.0
    oval_in: float = 0.0
    oval_deg: float = 0.0
    depth_in: float = 2.75
    offset_in: float = 0.0


@dataclass(frozen=True)
class Finger:
    """One finger hole: `cut_in` as bored, `hole_in` the inside of its insert, `span_in` to the thumb.

    The inside may be swept to an oval, and may stand off the bore's axis by `lift_in`, in clock directions (degrees
    clockwise from the fingers, from outside). It runs parallel to the bore, and only finished edges follow it.
    """

    span_in: float
    cut_in: float
    hole_in: float
    forward_in: float = 0.0
    right_in: float = 0.0
    depth_in: float = 1.0
    lift_in: float = 0.0
    lift_deg: float = 0.0
    oval_in: float = 0.0
    oval_deg: float = 0.0

    @property
    def inside_reach_in(self) -> float:
        """How far the inside of the insert reaches from the bore's axis, inches: at most half of `cut_in`."""
        turn = math.radians(self.oval_deg - self.lift_deg)
        half = self.oval_in / 2
        ends = (math.hypot(self.lift_in + way * half * math.cos(turn), half * math.sin(turn)) for way in (-1, 1))
        return max(ends) + self.hole_in / 2


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


def place_in(axis: Axis) -> tuple[float, float]:
    """(along, across) in inches of arc of a hole's centre from the grip centre."""
    return along_across_in(axis.centre, axis.radius_in)
