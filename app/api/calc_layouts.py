"""Layouts as JSON: nothing is stored, and no sign-in is needed."""

from fastapi import APIRouter

from app.api.turns import LARGEST_BODY, CalculationRoute
from app.schemas.calc_layouts import LayoutIn, LayoutOut, LayoutReadIn, LayoutReadOut
from app.schemas.records import refusals

router = APIRouter(
    prefix="/api/v1",
    tags=["calculations"],
    responses=refusals(400, 413, 422, 429),
    route_class=CalculationRoute,
    max_body_size=LARGEST_BODY,
)


@router.post("/calc/layout")
def calculate_layout(body: LayoutIn) -> LayoutOut:
    """Where a layout puts axis point, pin and mass mark on the ball, and the arcs between them and the grip centre."""
    return LayoutOut.of(body.solve())


@router.post("/calc/layout-read")
def calculate_layout_read(body: LayoutReadIn) -> LayoutReadOut:
    """The layout of a ball from where its pin and its mass mark lie: the inverse of `calc/layout`."""
    return LayoutReadOut.model_validate(body.read(), from_attributes=True)
