"""The static balance as JSON: nothing is stored, and no sign-in is needed."""

from fastapi import APIRouter

from app.api.turns import LARGEST_BODY, CalculationRoute
from app.calculation import balances
from app.schemas import calc_balances
from app.schemas.records import refusals

router = APIRouter(
    prefix="/api/v1",
    tags=["calculations"],
    responses=refusals(400, 413, 422, 429),
    route_class=CalculationRoute,
    max_body_size=LARGEST_BODY,
)


@router.post("/calc/balance")
def calculate_balance(body: calc_balances.BalanceIn) -> calc_balances.BalanceOut:
    """How heavy each side of a drilled ball is, with 95 % intervals; the official's scale and rules decide."""
    found = balances.balance(body.to_ball(), [hole.to_hole() for hole in body.holes], body.to_uncertainty())
    return calc_balances.BalanceOut.of(found)
