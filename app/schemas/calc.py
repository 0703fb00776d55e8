"""JSON of the calculation API: inches and degrees, finite, within physically possible ranges."""

from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field

from app.calculation import bores, depths, shop_depths


class Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True)


Circumference = Annotated[float, Field(ge=25.5, le=27.5, allow_inf_nan=False)]
Pitch = Annotated[float, Field(ge=-1.5, le=1.5, allow_inf_nan=False)]
HoleSize = Annotated[float, Field(ge=0.2, le=2.0, allow_inf_nan=False)]
Diameter = Annotated[float, Field(ge=0.3, le=3.0, allow_inf_nan=False)]
Depth = Annotated[float, Field(ge=0.05, le=6.0, allow_inf_nan=False)]
Span = Annotated[float, Field(ge=1.0, le=8.0, allow_inf_nan=False)]
Reach = Annotated[float, Field(ge=0.5, le=6.0, allow_inf_nan=False)]
Bridge = Annotated[float, Field(ge=0.0, le=2.0, allow_inf_nan=False)]
Lift = Annotated[float, Field(ge=0.0, le=0.5, allow_inf_nan=False)]
Surface = Annotated[float, Field(ge=-15.0, le=15.0, allow_inf_nan=False)]  # a place on the ball, inches of arc
OvalWidth = Annotated[float, Field(ge=0.0, le=0.75, allow_inf_nan=False)]
Turn = Annotated[float, Field(ge=-3600.0, le=3600.0, allow_inf_nan=False)]
Offset = Annotated[float, Field(ge=-1.0, le=1.0, allow_inf_nan=False)]
Reading = Annotated[float, Field(ge=0.0, le=0.25, allow_inf_nan=False)]
CuspLimit = Annotated[float, Field(ge=1e-06, le=1.0, allow_inf_nan=False)]


class Place(BaseModel):
    along_in: float
    across_in: float

    @classmethod
    def of(cls, place: tuple[float, float]) -> "Place":
        return cls(along_in=place[0], across_in=place[1])


class BoreToDrillIn(Strict):
    circumference_in: Circumference
    bore_in: Diameter
    forward_in: Pitch
    right_in: Pitch

    def to_bore(self) -> bores.Bore:
        return bores.Bore(**({"depth_in": 0.0} | self.model_dump()))


class BoreIn(BoreToDrillIn):
    depth_in: Depth


class FlushnessIn(Strict):
    inner_od_in: Diameter
    made_in: BoreIn
    fitted_in: BoreIn
    turn_deg: Turn = 0.0


class FlushnessOut(BaseModel):
    centre_in: float
    front_in: float
    right_in: float
    back_in: float
    left_in: float
    highest_in: float
    lowest_in: float


class CollarDepthIn(Strict):
    inner_od_in: Diameter
    made_in: BoreIn
    fitted_in: BoreToDrillIn
    turn_deg: Turn | None = 0.0


class CollarDepthOut(BaseModel):
    depth_in: float
    turn_deg: float
    centre_in: float
    highest_in: float
    lowest_in: float


class FeltPitchIn(Strict):
    circumference_in: Circumference
    bore_forward_in: Pitch
    bore_right_in: Pitch
    inner_forward_in: Pitch
    inner_right_in: Pitch
    turn_deg: Turn = 0.0


class FeltPitchOut(BaseModel):
    forward_in: float
    right_in: float


class TrialReadingIn(Strict):
    trial_depth_in: Depth
    proud_in: Offset


class BoreDepthIn(Strict):
    readings: Annotated[list[TrialReadingIn], Field(min_length=1, max_length=1000)]
    resolution_in: Reading
    repeatability_in: Reading

    def to_readings(self) -> list[depths.TrialReading]:
        return [depths.TrialReading(**r.model_dump()) for r in self.readings]


class BoreDepthOut(BaseModel):
    depth_in: float
    standard_uncertainty_in: float
    interval_in: Annotated[list[float], Field(min_length=2, max_length=2)]
    coverage: float
    readings: int


class ObservedDepthIn(Strict):
    depth_in: Depth
    standard_uncertainty_in: Reading
    ball: Annotated[int, Field(ge=0, le=10**9)] | None = None


class ScatterPriorIn(Strict):
    scatter_in: Annotated[float, Field(ge=1e-05, le=0.25, allow_inf_nan=False)]
    freedom: Annotated[float, Field(ge=0.5, le=1000, allow_inf_nan=False)]


class ShopDepthIn(Strict):
    observations: Annotated[list[ObservedDepthIn], Field(min_length=1, max_length=1000)]
    prior: ScatterPriorIn | None = None

    def to_known(self) -> list[depths.KnownDepth]:
        return [depths.KnownDepth(**o.model_dump()) for o in self.observations]

    def to_prior(self) -> shop_depths.ScatterPrior:
        return shop_depths.ScatterPrior(**self.prior.model_dump()) if self.prior else shop_depths.STARTING_SCATTER


class ShopDepthOut(BaseModel):
    depth_in: float
    interval_in: Annotated[list[float], Field(min_length=2, max_length=2)]
    scatter_in: float
    next_ball_interval_in: Annotated[list[float], Field(min_length=2, max_length=2)]
    coverage: float
    observations: int


class OvalIn(Strict):
    bit_in: HoleSize
    oval_in: OvalWidth
    oval_deg: Turn
    cusp_limit_in: CuspLimit


class OvalOut(BaseModel):
    plunges: list[Place]
    cusp_in: float
    width_in: float


class InnerWallIn(Strict):
    circumference_in: Circumference
    inner_od_in: Diameter
    hole_in: HoleSize
    oval_in: OvalWidth = 0.0
    oval_deg: Turn = 0.0
    length_in: Depth
    forward_difference_in: Pitch = 0.0
    right_difference_in: Pitch = 0.0
    offset_along_in: Offset = 0.0
    offset_across_in: Offset = 0.0


class InnerWallOut(BaseModel):
    least_wall_in: float
    at_depth_in: float
