"""JSON of the calculation API for the static balance."""

from typing import Annotated, Literal

from pydantic import BaseModel, Field

from app.calculation import balances, removed
from app.schemas.calc import Circumference, Depth, Diameter, Pitch, Strict, Surface

Arm = Annotated[float, Field(ge=1.0, le=20.0, allow_inf_nan=False)]
Weight = Annotated[float, Field(ge=48.0, le=320.0, allow_inf_nan=False)]  # ounces: 3 to 20 lb
TopWeight = Annotated[float, Field(ge=0.0, le=16.0, allow_inf_nan=False)]
Density = Annotated[float, Field(ge=0.05, le=2.5, allow_inf_nan=False)]  # ounces per cubic inch; 3.80 g/cm³ is 2.197
Inside = Annotated[float, Field(ge=0.0, le=3.0, allow_inf_nan=False)]
Interval = Annotated[list[float], Field(min_length=2, max_length=2)]


class HeavySpotIn(Strict):
    along_in: Surface
    across_in: Surface


class FillIn(Strict):
    od_in: Diameter
    id_in: Inside = 0.0
    length_in: Depth | None = None
    density_oz_in3: Density


class BalanceHoleIn(Strict):
    along_in: Surface
    across_in: Surface
    forward_in: Pitch
    right_in: Pitch
    digit: Literal["thumb", "finger"]
    bore_in: Diameter
    depth_in: Depth
    density_oz_in3: Density
    fills: list[FillIn] = Field(default_factory=list, max_length=6)

    def to_hole(self) -> removed.BalanceHole:
        fills = tuple(removed.Fill(**fill.model_dump()) for fill in self.fills)
        return removed.BalanceHole(**self.model_dump(exclude={"fills"}), fills=fills)


class UncertaintyIn(Strict):
    """Standard uncertainties; see `app.calculation.balances`."""

    density_fraction: Annotated[float, Field(ge=0.0, le=1.0, allow_inf_nan=False)]
    top_weight_oz: Annotated[float, Field(ge=0.0, le=8.0, allow_inf_nan=False)]
    heavy_spot_in: Annotated[float, Field(ge=0.0, le=4.0, allow_inf_nan=False)]


class BalanceIn(Strict):
    """A ball before the first cut and what is drilled and put in; `arm_in` null is the ball's radius."""

    circumference_in: Circumference
    arm_in: Arm | None = None
    weight_oz: Weight
    top_weight_oz: TopWeight
    heavy_spot: HeavySpotIn
    holes: Annotated[list[BalanceHoleIn], Field(max_length=12)]
    uncertainty: UncertaintyIn | None = None

    def to_ball(self) -> balances.UndrilledBall:
        return balances.UndrilledBall(
            circumference_in=self.circumference_in,
            weight_oz=self.weight_oz,
            top_weight_oz=self.top_weight_oz,
            heavy_along_in=self.heavy_spot.along_in,
            heavy_across_in=self.heavy_spot.across_in,
            arm_in=self.arm_in,
        )

    def to_uncertainty(self) -> balances.Uncertainty | None:
        return balances.Uncertainty(**self.uncertainty.model_dump()) if self.uncertainty else None


class BalanceIntervalOut(BaseModel):
    right_oz: Interval
    finger_oz: Interval
    top_oz: Interval


class BalanceOut(BaseModel):
    """Ounces: the right, finger and top half over the other one; 95 % intervals, null without uncertainty."""

    weight_oz: float
    right_oz: float
    finger_oz: float
    top_oz: float
    removed_oz: float
    added_oz: float
    interval: BalanceIntervalOut | None

    @classmethod
    def of(cls, found: balances.Balance) -> "BalanceOut":
        right, finger, top = (found.find_interval(i) for i in range(3))
        interval = None
        if right and finger and top:
            interval = BalanceIntervalOut(right_oz=list(right), finger_oz=list(finger), top_oz=list(top))
        return cls(
            **found.ounces._asdict(),
            removed_oz=found.removed.weight_oz,
            added_oz=found.added.weight_oz,
            interval=interval,
        )
