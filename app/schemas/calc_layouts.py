"""JSON of the calculation API for layouts: where pin and mass mark lie, and the layout that they show."""

from typing import Annotated, Literal

from pydantic import BaseModel, Field

from app.calculation import layouts
from app.calculation.errors import CannotBuildError
from app.calculation.sphere import Vector, place
from app.schemas.calc import Circumference, Place, Strict, Surface

Angle = Annotated[float, Field(ge=-180.0, le=180.0, allow_inf_nan=False)]
Arc = Annotated[float, Field(ge=0.0, le=13.75, allow_inf_nan=False)]  # half of the largest ball round
_OWN_NAMES = {"over_in": "axis_over_in", "up_in": "axis_up_in"}


class AxisPointIn(Strict):
    circumference_in: Circumference
    hand: Literal["right", "left"]
    axis_over_in: Surface
    axis_up_in: Surface

    def to_axis_point(self) -> layouts.AxisPoint:
        """Raises CannotBuildError for an axis point that is not on its hand's own side of the centre line."""
        point = layouts.AxisPoint(self.axis_over_in, self.axis_up_in)
        if not point.is_on_own_side:
            raise CannotBuildError(
                "axis_over_in", "over is measured to the hand's own side of the centre line: is it the other hand?"
            )
        return point


class LayoutIn(AxisPointIn):
    pin_axis_in: Arc
    axis_line_deg: Angle
    drilling_deg: Angle
    pin_mark_in: Arc | None = None

    def solve(self) -> layouts.LaidOut:
        """Raises CannotBuildError naming a field of this body."""
        layout = layouts.Layout(self.pin_axis_in, self.axis_line_deg, self.drilling_deg, self.pin_mark_in)
        try:
            return layouts.solve_layout(self.circumference_in, self.hand, self.to_axis_point(), layout)
        except CannotBuildError as error:
            raise CannotBuildError(_OWN_NAMES.get(error.field, error.field), error.message) from None


class LayoutPlaces(BaseModel):
    axis: Place
    pin: Place
    mark: Place


class LayoutArcs(BaseModel):
    pin_axis_line_in: float
    mark_axis_in: float
    grip_axis_in: float
    grip_pin_in: float
    grip_mark_in: float


class LayoutOut(BaseModel):
    places: LayoutPlaces
    arcs: LayoutArcs

    @classmethod
    def of(cls, laid: layouts.LaidOut) -> "LayoutOut":
        places = {name: Place.of(at) for name, at in laid.places.items()}
        return cls(places=LayoutPlaces(**places), arcs=LayoutArcs(**laid.arcs))


class PlaceIn(Strict):
    along_in: Surface
    across_in: Surface

    def to_vector(self, name: str, circumference_in: float) -> Vector:
        """Raises CannotBuildError for a place that is not on the ball."""
        if abs(self.along_in) > circumference_in / 2:
            raise CannotBuildError(f"{name}.along_in", "that is more than half way round the ball")
        if abs(self.across_in) > circumference_in / 4 + 1e-9:
            raise CannotBuildError(f"{name}.across_in", "that is more than a quarter of the ball off the centre line")
        return place(self.along_in, self.across_in, layouts.radius_of(circumference_in))


class LayoutReadIn(AxisPointIn):
    pin: PlaceIn
    mark: PlaceIn

    def read(self) -> layouts.Layout:
        """Raises CannotBuildError naming a field of this body."""
        at = (self.pin.to_vector("pin", self.circumference_in), self.mark.to_vector("mark", self.circumference_in))
        try:
            return layouts.read_layout(self.circumference_in, self.hand, self.to_axis_point(), *at)
        except CannotBuildError as error:
            raise CannotBuildError(_OWN_NAMES.get(error.field, error.field), error.message) from None


class LayoutReadOut(BaseModel):
    pin_axis_in: float
    axis_line_deg: float
    drilling_deg: float
    pin_mark_in: float
