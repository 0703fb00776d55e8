"""What a grip is: its holes as they are asked for, and the grip worked out from them (`grip_solver`).

A grip has three holes, two fingers without a thumb hole, or a thumb and one finger: a hole it has not is None.
"""

import math
from dataclasses import dataclass
from typing import Literal

from app.calculation.errors import CannotBuildError
from app.calculation.holes import Axis
from app.calculation.sphere import Vector, along_across_in

SpanEdges = Literal["cut", "finished", "sleeve"]
BridgeEdges = Literal["cut", "finished"]
Hand = Literal["right", "left"]
FingerName = Literal["middle", "ring"]
GRIP_CENTRE: Vector = (0.0, 0.0, 1.0)


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

    Without a thumb hole `span_in` is its reach: the arc from the grip centre, the palm's plus, to its near edge.
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

    One of `thumb`, `middle` and `ring` may be None; with one finger `bridge_in` is None too. The sleeve runs along the
    thumb hole's own axis unless `sleeve_pitch_in` gives its (forward, right) pitch: some shops bore straight and tilt
    the hole inside the inner.
    """

    circumference_in: float
    hand: Hand
    thumb: Thumb | None
    middle: Finger | None
    ring: Finger | None
    bridge_in: float | None
    span_edges: SpanEdges = "cut"
    bridge_edges: BridgeEdges = "cut"
    sleeve_od_in: float | None = None
    sleeve_pitch_in: tuple[float, float] | None = None

    @property
    def fingers(self) -> dict[FingerName, Finger]:
        """Its finger holes by name, middle first."""
        found: dict[FingerName, Finger] = {}
        if self.middle:
            found["middle"] = self.middle
        if self.ring:
            found["ring"] = self.ring
        return found

    def require_thumb(self) -> Thumb:
        """Its thumb hole; raises CannotBuildError at `thumb` where it has none."""
        if self.thumb is None:
            raise CannotBuildError("thumb", "this grip has no thumb hole")
        return self.thumb


@dataclass(frozen=True)
class Spans:
    """One finger's span by each set of edges, inches of arc; `sleeve_to_cut_in` is None without a sleeve.

    Without a thumb hole it is the finger's reach from the grip centre.
    """

    cut_in: float
    finished_in: float
    sleeve_to_cut_in: float | None

    def tell(self, is_from_sleeve: bool) -> float:
        """The span that is measured in the end, from the sleeve's outside where there is one; else the cut span."""
        return self.cut_in if self.sleeve_to_cut_in is None or not is_from_sleeve else self.sleeve_to_cut_in


@dataclass(frozen=True)
class SolvedGrip:
    """A grip worked out: axes, spans by all edges, bridge and webs (inches; negative where holes run together).

    What has no meaning in a grip of fewer holes is None.
    """

    grip: Grip
    thumb: Axis | None
    middle: Axis | None
    ring: Axis | None
    sleeve: Axis | None
    middle_spans: Spans | None
    ring_spans: Spans | None
    bridge_cut_in: float | None
    bridge_finished_in: float | None
    web_thumb_middle_in: float | None
    web_thumb_ring_in: float | None
    web_middle_ring_in: float | None
    fingers_meet_at_in: float | None

    @property
    def fingers(self) -> dict[FingerName, Axis]:
        """The axes of its finger holes by name, middle first."""
        found: dict[FingerName, Axis] = {}
        if self.middle:
            found["middle"] = self.middle
        if self.ring:
            found["ring"] = self.ring
        return found

    @property
    def holes(self) -> dict[str, Axis]:
        """The axes of its holes by name, the thumb first."""
        named = (("thumb", self.thumb), ("middle", self.middle), ("ring", self.ring))
        return {name: axis for name, axis in named if axis}

    @property
    def spans(self) -> dict[FingerName, Spans]:
        """Each finger's spans by name; without a thumb hole its reaches."""
        found: dict[FingerName, Spans] = {}
        if self.middle_spans:
            found["middle"] = self.middle_spans
        if self.ring_spans:
            found["ring"] = self.ring_spans
        return found

    @property
    def radius_in(self) -> float:
        """The radius of the ball."""
        return next(iter(self.fingers.values())).radius_in

    @property
    def anchor(self) -> Vector:
        """The unit vector from which spans are measured: the thumb hole's centre, else the grip centre."""
        return self.thumb.centre if self.thumb else GRIP_CENTRE

    @property
    def half_span_in(self) -> float | None:
        """Distance in inches of the thumb's cut line from the grip centre: half the mean cut span; None without one."""
        cut = [spans.cut_in for spans in self.spans.values()]
        return sum(cut) / len(cut) / 2 if self.thumb else None

    def require_thumb(self) -> Axis:
        """The axis of its thumb hole; raises CannotBuildError at `thumb` where it has none."""
        if self.thumb is None:
            raise CannotBuildError("thumb", "this grip has no thumb hole")
        return self.thumb


def place_in(axis: Axis) -> tuple[float, float]:
    """(along, across) in inches of arc of a hole's centre from the grip centre."""
    return along_across_in(axis.centre, axis.radius_in)
