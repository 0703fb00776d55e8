"""The page of the design: every component as pages use it, in both schemes, about a grip and an inner made up here."""

from fractions import Fraction

from fastapi import Response

from app.calculation.bores import Bore, flushness
from app.calculation.grip import Finger, Grip, Thumb
from app.calculation.grip_solver import solve_grip
from app.calculation.layouts import AxisPoint, Layout, solve_layout
from app.calculation.sphere import place
from app.models import now
from app.pages import charts, design_floor, pictures
from app.pages.admission import PageDep, PageRouter
from app.pages.layout_pictures import draw_layout
from app.pages.layout_step_pictures import draw_step

router = PageRouter()

_GRIP = Grip(
    circumference_in=27.0,
    hand="right",
    thumb=Thumb(hole_in=0.9375, forward_in=-0.25),
    middle=Finger(4.125, 0.9375, 0.6875, right_in=0.0625),
    ring=Finger(4.0625, 0.9375, 0.6875, forward_in=0.125),
    bridge_in=0.25,
    sleeve_od_in=1.5,
)
_MADE, _FITTED = Bore(27.0, 1.5, 2.75, -0.25, 0.0), Bore(27.0, 1.5, 2.765625, -0.125, 0.0)
_OUTSIDE_IN, _LIP_IN, _HALF_WIDTH_IN = 1.25, 1 / 64, 1 / 128


@router.get("/design")
def show_design(page: PageDep) -> Response:
    rim = charts.draw_rim(flushness(_OUTSIDE_IN, _MADE, _FITTED), _HALF_WIDTH_IN, _LIP_IN, _OUTSIDE_IN)
    at = now()
    floors = [
        (scheme, design_floor.make_floor(scheme, number, at)) for number, scheme in enumerate(("light", "dark"), 1)
    ]
    solved = solve_grip(_GRIP)
    laid = solve_layout(27.0, "right", AxisPoint(4.5, 0.5), Layout(4.0, 35.0, 40.0))
    drawn = draw_layout(laid, solved, place(1.5, -2.0, solved.radius_in), 2.5), draw_step(laid, 0)
    picture = pictures.draw_grip(solved, Fraction(180))
    return page.show("design.html", picture=picture, laid=drawn, rim=rim, floors=floors, at=at)
