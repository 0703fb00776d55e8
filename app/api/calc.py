"""The calculations as JSON: nothing is stored, and no sign-in is needed."""

from typing import Annotated

from fastapi import APIRouter, Query
from pydantic import BaseModel

from app.api.turns import LARGEST_BODY, CalculationRoute
from app.calculation import (
    bores,
    cuts,
    depths,
    grip_solver,
    holes,
    inners,
    ovals,
    owned_inners,
    shop_depths,
)
from app.calculation.errors import CannotBuildError
from app.errors import InvalidError
from app.measures.describe import KINDS, describe
from app.schemas import calc, calc_grips
from app.schemas.records import refusals

router = APIRouter(
    prefix="/api/v1",
    tags=["calculations"],
    responses=refusals(400, 413, 422, 429),
    route_class=CalculationRoute,
    max_body_size=LARGEST_BODY,
)


@router.post("/calc/grip")
def calculate_grip(body: calc_grips.GripIn) -> calc_grips.GripOut:
    """Hole places, spans by all three sets of edges, or reaches, bridge and webs; null where there is no such hole."""
    old = [holes.OldHole(**hole.model_dump()) for hole in body.old_holes]
    return calc_grips.GripOut.of(grip_solver.solve_grip(body.to_grip()), old)


@router.post("/calc/cuts")
def calculate_cuts(body: calc_grips.CutsIn) -> calc_grips.CutsOut:
    """Every plunge of every bit in drilling order: its centre, its own near edge, its move, axis, pitch and depth."""
    thumb, bore = body.grip.thumb, body.to_bore()
    sizes = (thumb.hole_in, thumb.oval_in, thumb.oval_deg) if thumb else (1.0, 0.0, 0.0)
    oval = ovals.oval_plan(*sizes, body.cusp_limit_in)
    _check_bore(body)
    try:
        made = cuts.grip_cuts(grip_solver.solve_grip(body.grip.to_grip()), bore, oval)
    except CannotBuildError as error:
        field = error.field if error.field.startswith("bore.") else f"grip.{error.field}"
        raise CannotBuildError(field, error.message) from None
    return calc_grips.CutsOut(cuts=[calc_grips.CutOut.of(cut) for cut in made])


def _check_bore(body: calc_grips.CutsIn) -> None:
    """Raises CannotBuildError unless the bore holds thumb hole and sleeve and has the sleeve's pitch."""
    bore, asked = body.bore, body.grip
    if bore is None:
        return
    if asked.thumb is None:
        raise CannotBuildError("bore", "without a thumb hole there is no bore for a sleeve")
    if bore.bore_in <= asked.thumb.hole_in + asked.thumb.oval_in:
        raise CannotBuildError("bore.bore_in", "the thumb hole is as wide as the bore or wider")
    has_sleeve = asked.sleeve_od_in is not None
    pitches = zip(
        ("forward_in", "right_in"),
        (bore.forward_in, bore.right_in),
        asked.sleeve_pitch_in,
        (asked.sleeve_forward_in, asked.sleeve_right_in),
        strict=True,
    )
    for field, of_bore, of_sleeve, given in pitches:
        if (has_sleeve or given is not None) and abs(of_bore - of_sleeve) > 1e-9:
            raise CannotBuildError(f"bore.{field}", "the bore's pitch is not the sleeve's")


@router.post("/calc/flushness")
def calculate_flushness(body: calc.FlushnessIn) -> calc.FlushnessOut:
    """Returns how far an inner trimmed flush in one bore stands proud in another."""
    flushness = bores.flushness(body.inner_od_in, body.made_in.to_bore(), body.fitted_in.to_bore(), body.turn_deg)
    return calc.FlushnessOut.model_validate(flushness, from_attributes=True)


@router.post("/calc/collar-depth")
def calculate_collar_depth(body: calc.CollarDepthIn) -> calc.CollarDepthOut:
    """The depth at which an inner's lips in a new bore are smallest, at a turn or at the best one."""
    made, fitted = body.made_in.to_bore(), body.fitted_in.to_bore()
    found = owned_inners.collar_depth(body.inner_od_in, made, fitted, body.turn_deg)
    return calc.CollarDepthOut.model_validate(found, from_attributes=True)


@router.post("/calc/felt-pitch")
def calculate_felt_pitch(body: calc.FeltPitchIn) -> calc.FeltPitchOut:
    """The pitch felt when a tilted inner is locked into a pitched bore."""
    return calc.FeltPitchOut.model_validate(inners.felt_pitch(**body.model_dump()), from_attributes=True)


@router.post("/calc/bore-depth")
def calculate_bore_depth(body: calc.BoreDepthIn) -> calc.BoreDepthOut:
    """The depth at which a visiting inner would be flush, from trial fits, with its interval."""
    estimate = depths.trial_fit_depth(body.to_readings(), body.resolution_in, body.repeatability_in)
    return calc.BoreDepthOut(coverage=depths.COVERAGE, **vars(estimate))


@router.post("/calc/shop-depth")
def calculate_shop_depth(body: calc.ShopDepthIn) -> calc.ShopDepthOut:
    """A shop's mean depth, its scatter from ball to ball, and what its next ball may have."""
    known = shop_depths.shop_depth(body.to_known(), body.to_prior())
    return calc.ShopDepthOut(
        depth_in=known.estimate.depth_in,
        interval_in=list(known.estimate.interval_in),
        scatter_in=known.scatter_in,
        next_ball_interval_in=list(known.next_ball_in),
        coverage=depths.COVERAGE,
        observations=known.estimate.readings,
    )


@router.post("/calc/oval")
def calculate_oval(body: calc.OvalIn) -> calc.OvalOut:
    """The fewest equal plunges of an oval."""
    return calc.OvalOut.model_validate(ovals.oval_plan(**body.model_dump()), from_attributes=True)


@router.post("/calc/inner-wall")
def calculate_inner_wall(body: calc.InnerWallIn) -> calc.InnerWallOut:
    """Least wall left around a hole in an inner."""
    return calc.InnerWallOut.model_validate(inners.inner_wall(**body.model_dump()), from_attributes=True)


class MeasureOut(BaseModel):
    """One typed text read: exact values as fractions of an inch or degrees, or the question or error to show."""

    text: str
    state: str
    values: dict[str, str]
    words: str
    warnings: list[str]
    message: str
    choices: list[str]


@router.get("/measures/{kind}", tags=["measures"])
def read_measure(
    kind: str,
    text: Annotated[str, Query(max_length=20_000)],
    hand: str = "",
    hole: str = "",
    first: str = "",
) -> MeasureOut:
    """Reads one measure as the forms do; `kind` is one of the named kinds of measure."""
    if kind not in KINDS:
        raise InvalidError.at("kind", f"There is no kind of measure called that. Known: {', '.join(KINDS)}.")
    result = describe(kind, text, hand, hole, first)
    reading = result.reading
    return MeasureOut(
        text=text,
        state=reading.state,
        values=dict(result.exact),
        words=result.words,
        warnings=list(reading.warnings),
        message=reading.message,
        choices=list(reading.choices),
    )
