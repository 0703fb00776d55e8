"""JSON of the calculation API for grips and cuts."""

from typing import Annotated, Literal

from pydantic import BaseModel, Field

from app.calculation import cuts, grip
from app.schemas.calc import (
    Bridge,
    Circumference,
    CuspLimit,
    Depth,
    Diameter,
    HoleSize,
    OvalWidth,
    Pitch,
    Place,
    Span,
    Strict,
    Turn,
)


class ThumbIn(Strict):
    hole_in: HoleSize
    oval_in: OvalWidth = 0.0
    oval_deg: Turn = 0.0
    forward_in: Pitch
    right_in: Pitch
    depth_in: Depth = 2.75


class FingerIn(Strict):
    span_in: Span
    cut_in: HoleSize
    hole_in: HoleSize
    forward_in: Pitch
    right_in: Pitch
    depth_in: Depth = 1.0


class GripIn(Strict):
    circumference_in: Circumference
    hand: Literal["right", "left"]
    sleeve_od_in: Diameter | None = None
    thumb: ThumbIn
    middle: FingerIn
    ring: FingerIn
    span_edges: Literal["cut", "finished", "sleeve"]
    bridge_in: Bridge
    bridge_edges: Literal["cut", "finished"]
    sleeve_forward_in: Pitch | None = None
    sleeve_right_in: Pitch | None = None

    @property
    def sleeve_pitch_in(self) -> tuple[float, float]:
        """(forward, right) of the sleeve: the thumb's pitch unless the body gives another."""
        forward, right = self.sleeve_forward_in, self.sleeve_right_in
        return (
            self.thumb.forward_in if forward is None else forward,
            self.thumb.right_in if right is None else right,
        )

    def to_grip(self) -> grip.Grip:
        values = self.model_dump(exclude={"thumb", "middle", "ring", "sleeve_forward_in", "sleeve_right_in"})
        return grip.Grip(
            sleeve_pitch_in=self.sleeve_pitch_in,
            thumb=grip.Thumb(**self.thumb.model_dump()),
            middle=grip.Finger(**self.middle.model_dump()),
            ring=grip.Finger(**self.ring.model_dump()),
            **values,
        )


class HolesOut(BaseModel):
    thumb: Place
    middle: Place
    ring: Place


class SpansOut(BaseModel):
    cut_in: float
    finished_in: float
    sleeve_to_cut_in: float | None


class FingerSpansOut(BaseModel):
    middle: SpansOut
    ring: SpansOut


class BridgeOut(BaseModel):
    cut_in: float
    finished_in: float


class WebsOut(BaseModel):
    thumb_middle_in: float
    thumb_ring_in: float
    middle_ring_in: float


class GripOut(BaseModel):
    holes: HolesOut
    spans: FingerSpansOut
    bridge: BridgeOut
    webs: WebsOut
    fingers_meet_at_in: float | None

    @classmethod
    def of(cls, solved: grip.SolvedGrip) -> "GripOut":
        return cls(
            holes=HolesOut(
                thumb=Place.of(grip.place_in(solved.thumb)),
                middle=Place.of(grip.place_in(solved.middle)),
                ring=Place.of(grip.place_in(solved.ring)),
            ),
            spans=FingerSpansOut(
                middle=SpansOut(**vars(solved.middle_spans)), ring=SpansOut(**vars(solved.ring_spans))
            ),
            bridge=BridgeOut(cut_in=solved.bridge_cut_in, finished_in=solved.bridge_finished_in),
            webs=WebsOut(
                thumb_middle_in=solved.web_thumb_middle_in,
                thumb_ring_in=solved.web_thumb_ring_in,
                middle_ring_in=solved.web_middle_ring_in,
            ),
            fingers_meet_at_in=solved.fingers_meet_at_in,
        )


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
