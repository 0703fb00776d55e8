"""What the records' API takes and gives."""

from datetime import datetime
from typing import Annotated, Any

from pydantic import AfterValidator, BaseModel, ConfigDict, Field

from app.closed_sets import Hand
from app.schemas.forms import LARGEST_ID


def _storable(text: str) -> str:
    """Text a database can hold: no NUL, no half of a surrogate pair."""
    if "\0" in text or any("\ud800" <= c <= "\udfff" for c in text):
        raise ValueError("holds a character that cannot be stored")
    return text


Text = Annotated[str, AfterValidator(_storable)]


class FindIn(BaseModel):
    """What to look bowlers up by."""

    model_config = ConfigDict(extra="forbid")

    q: Annotated[Text, Field(min_length=1, max_length=200)]


class BowlerIn(BaseModel):
    """A bowler to register. `is_somebody_else` says that a likely duplicate is not one."""

    model_config = ConfigDict(extra="forbid", str_strip_whitespace=True)

    name: Annotated[Text, Field(min_length=1, max_length=120)]
    phone: Annotated[Text, Field(max_length=40)] = ""
    hand: Hand
    home_shop_id: Annotated[int, Field(ge=1, le=LARGEST_ID)] | None = None
    notes: Annotated[Text, Field(max_length=2000)] = ""
    is_somebody_else: bool = False


class BowlerOut(BaseModel):
    id: int
    name: str
    phone: str
    hand: str
    home_shop_id: int | None
    made_by_shop_id: int | None
    created_at: datetime
    version: int


class DepthOut(BaseModel):
    """A shop's depth for one system, inches: 95 % interval of the shop's mean, and of its next ball's depth."""

    system_id: int
    system: str
    depth_in: float
    low_in: float
    high_in: float
    scatter_in: float
    next_low_in: float
    next_high_in: float
    readings: int


class Problem(BaseModel):
    """Why a request was refused: words, or one entry for each field."""

    detail: str | list[dict[str, object]]


_REFUSALS = {
    400: "The request cannot be read.",
    401: "No token, or one that has ended.",
    403: "The token does not cover this, or another site sent it.",
    404: "There is no such record.",
    409: "Likely known already.",
    413: "The request is too large.",
    422: "A field cannot be taken.",
    429: "Too many calls at once; try again after the seconds in Retry-After.",
    503: "The database did not answer; try again.",
}


def refusals(*statuses: int) -> dict[int | str, dict[str, Any]]:
    """How these refusals stand in the API's documentation."""
    return {status: {"model": Problem, "description": _REFUSALS[status]} for status in statuses}
