"""JSON of the calculation API for grips and cuts."""

from collections.abc import Callable, Sequence
from functools import partial
from operator import is_
from typing import Annotated, Literal, TypeVar

from pydantic import BaseModel, Field

from app.calculation import cuts, grip
from app.calculation.errors import CannotBuildError
from app.calculation.holes import Axis, OldHole
from app.calculation.old_holes import check_old_hole
from app.schemas.calc import (
    Bridge,
    Circumference,
    CuspLimit,
    Depth,
    Diameter,
    HoleSize,
    Lift,
    Offset,
    OvalWidth,
    Pitch,
    Place,
    Reach,
    Span,
    Strict,
    Surface,
    Turn,
)


class ThumbIn(Strict):
    hole_in: HoleSize
    oval_in: OvalWidth = 0.0
    oval_deg: Turn = 0.0
    forward_in: Pitch
    right_in: Pitch
    depth_in: Depth = 2.75
    offset_in: Offset = 0.0


class FingerIn(Strict):
    """A finger hole: `span_in` to a thumb, or without a thumb hole `reach_in` from the palm's centre."""

    span_in: Span | None = None
    reach_in: Reach | None = None
    cut_in: HoleSize
    hole_in: HoleSize
    forward_in: Pitch
    right_in: Pitch
    depth_in: Depth = 1.0
    lift_in: Lift = 0.0
    lift_deg: Turn = 0.0
    oval_in: OvalWidth = 0.0
    oval_deg: Turn = 0.0

    def to_finger(self, name: str, is_reached: bool) -> grip.Finger:
        """Raises CannotBuildError for a span in the place of a reach, for both, or for an inside outside its hole."""
        asked, other = ("reach_in", "span_in") if is_reached else ("span_in", "reach_in")
        given = getattr(self, asked)
        if getattr(self, other) is not None:
            why = "without a thumb hole a finger has a reach" if is_reached else "with a thumb hole a finger has a span"
            raise CannotBuildError(f"{name}.{other}", f"{why}: leave this out")
        if given is None:
            raise CannotBuildError(f"{name}.{asked}", "this is needed")
        made = grip.Finger(span_in=given, **self.model_dump(exclude={"span_in", "reach_in"}))
        if made.inside_reach_in > made.cut_in / 2 + 1e-9:
            raise CannotBuildError(f"{name}.hole_in", "the inside of the insert is larger than the hole it stands in")
        return made


class OldHoleIn(Strict):
    along_in: Surface
    across_in: Surface
    cut_in: Diameter
    forward_in: Pitch
    right_in: Pitch
    depth_in: Depth
    digit: Literal["thumb", "finger"]


class GripIn(Strict):
    """A grip of three holes, or of two where `thumb`, `middle` or `ring` is null.

    Without a thumb hole the sleeve's fields have no meaning and are not used.
    """

    circumference_in: Circumference
    hand: Literal["right", "left"]
    sleeve_od_in: Diameter | None = None
    thumb: ThumbIn | None
    middle: FingerIn | None
    ring: FingerIn | None
    span_edges: Literal["cut", "finished", "sleeve"]
    bridge_in: Bridge | None
    bridge_edges: Literal["cut", "finished"] | None
    sleeve_forward_in: Pitch | None = None
    sleeve_right_in: Pitch | None = None
    old_holes: list[OldHoleIn] = Field(default_factory=list, max_length=20)

    @property
    def sleeve_pitch_in(self) -> tuple[float, float]:
        """(forward, right) of the sleeve: the thumb's pitch unless the body gives another."""
        forward, right, thumb = self.sleeve_forward_in, self.sleeve_right_in, self.thumb
        return (
            (thumb.forward_in if thumb else 0.0) if forward is None else forward,
            (thumb.right_in if thumb else 0.0) if right is None else right,
        )

    def to_grip(self) -> grip.Grip:
        """Raises CannotBuildError for holes, spans and bridge that do not go together."""
        is_reached = self.thumb is None
        thumb = grip.Thumb(**self.thumb.model_dump()) if self.thumb else None
        middle = self.middle.to_finger("middle", is_reached) if self.middle else None
        ring = self.ring.to_finger("ring", is_reached) if self.ring else None
        sleeve = None if thumb is None else self.sleeve_od_in
        if sleeve and thumb and thumb.hole_in + thumb.oval_in >= sleeve:
            raise CannotBuildError("thumb.hole_in", "the thumb hole is as wide as its sleeve or wider")
        is_bridged = middle is not None and ring is not None
        if is_bridged and (self.bridge_in is None or self.bridge_edges is None):
            raise CannotBuildError("bridge_in" if self.bridge_in is None else "bridge_edges", "this is needed")
        return grip.Grip(
            circumference_in=self.circumference_in,
            hand=self.hand,
            thumb=thumb,
            middle=middle,
            ring=ring,
            bridge_in=self.bridge_in,
            span_edges=self.span_edges,
            bridge_edges=self.bridge_edges or "cut",
            sleeve_od_in=sleeve,
            sleeve_pitch_in=self.sleeve_pitch_in if thumb else None,
        )


class HolesOut(BaseModel):
    thumb: Place | None
    middle: Place | None
    ring: Place | None


class ArcOut(BaseModel):
    """An arc by both edges of a finger hole: as bored, and inside its insert."""

    cut_in: float
    finished_in: float


class SpansOut(ArcOut):
    sleeve_to_cut_in: float | None


class FingerSpansOut(BaseModel):
    middle: SpansOut | None
    ring: SpansOut | None


class FingerReachesOut(BaseModel):
    middle: ArcOut | None
    ring: ArcOut | None


_is_none: Callable[[object], bool] = partial(is_, None)  # what only some bodies ask for is left out of other answers


class OldWebsOut(BaseModel):
    thumb_in: float | None
    middle_in: float | None
    ring_in: float | None


class WebsOut(BaseModel):
    thumb_middle_in: float | None
    thumb_ring_in: float | None
    middle_ring_in: float | None
    old: list[OldWebsOut] | None = Field(default=None, exclude_if=_is_none)


class GripOut(BaseModel):
    """What has no meaning is null: without a thumb the spans, with one finger the bridge."""

    holes: HolesOut
    spans: FingerSpansOut
    reaches: FingerReachesOut | None = Field(default=None, exclude_if=_is_none)
    bridge: ArcOut | None
    webs: WebsOut
    fingers_meet_at_in: float | None

    @classmethod
    def of(cls, solved: grip.SolvedGrip, old: Sequence[OldHole] = ()) -> "GripOut":
        def find_place(axis: Axis | None) -> Place | None:
            return Place.of(grip.place_in(axis)) if axis else None

        bridge = solved.bridge_cut_in, solved.bridge_finished_in
        return cls(
            holes=HolesOut(
                thumb=find_place(solved.thumb), middle=find_place(solved.middle), ring=find_place(solved.ring)
            ),
            spans=FingerSpansOut(
                middle=_tell(SpansOut, solved.middle_spans if solved.thumb else None),
                ring=_tell(SpansOut, solved.ring_spans if solved.thumb else None),
            ),
            reaches=None if solved.thumb else _tell_reaches(solved),
            bridge=ArcOut(cut_in=bridge[0], finished_in=bridge[1])
            if bridge[0] is not None and bridge[1] is not None
            else None,
            webs=WebsOut(
                thumb_middle_in=solved.web_thumb_middle_in,
                thumb_ring_in=solved.web_thumb_ring_in,
                middle_ring_in=solved.web_middle_ring_in,
                old=[_find_old_webs(solved, hole, i) for i, hole in enumerate(old)] or None,
            ),
            fingers_meet_at_in=solved.fingers_meet_at_in,
        )


M = TypeVar("M", bound=BaseModel)


def _tell(model: type[M], found: object | None) -> M | None:
    return None if found is None else model.model_validate(found, from_attributes=True)


def _tell_reaches(solved: grip.SolvedGrip) -> FingerReachesOut:
    return FingerReachesOut(middle=_tell(ArcOut, solved.middle_spans), ring=_tell(ArcOut, solved.ring_spans))


def _find_old_webs(solved: grip.SolvedGrip, hole: OldHole, at: int) -> OldWebsOut:
    asked = solved.grip
    thumb_radius = (asked.sleeve_od_in or (asked.thumb.hole_in + asked.thumb.oval_in if asked.thumb else 0.0)) / 2
    bored = solved.sleeve if asked.sleeve_od_in else solved.thumb

    def find(axis: Axis | None, asked: grip.Thumb | grip.Finger | None, radius: float) -> float | None:
        return hole.find_web_in(axis, asked.depth_in, radius) if axis and asked else None

    try:
        check_old_hole(hole, solved.radius_in)
        return OldWebsOut(
            thumb_in=find(bored, asked.thumb, thumb_radius),
            middle_in=find(solved.middle, asked.middle, asked.middle.cut_in / 2 if asked.middle else 0.0),
            ring_in=find(solved.ring, asked.ring, asked.ring.cut_in / 2 if asked.ring else 0.0),
        )
    except CannotBuildError as error:
        raise CannotBuildError(f"old_holes.{at}.{error.field}", error.message) from None


class CutBoreIn(Strict):
    bore_in: Diameter
    forward_in: Pitch
    right_in: Pitch
    depth_in: Depth


class CutsIn(Strict):
    grip: GripIn
    bore: CutBoreIn | None = None
    cusp_limit_in: CuspLimit

    def to_bore(self) -> cuts.SleeveBore | None:
        return cuts.SleeveBore(**self.bore.model_dump()) if self.bore else None


class CutOut(BaseModel):
    hole: cuts.CutHole
    bit_in: float
    centre: Place
    near_edge: Place
    move: Place
    axis: Annotated[list[float], Field(min_length=3, max_length=3)]
    forward_in: float
    right_in: float
    depth_in: float

    @classmethod
    def of(cls, cut: cuts.Cut) -> "CutOut":
        return cls(
            hole=cut.hole,
            bit_in=cut.bit_in,
            centre=Place.of(cut.centre_in),
            near_edge=Place.of(cut.near_edge_in),
            move=Place.of(cut.move_in),
            axis=list(cut.axis.inwards),
            forward_in=cut.forward_in,
            right_in=cut.right_in,
            depth_in=cut.depth_in,
        )


class CutsOut(BaseModel):
    cuts: list[CutOut]
