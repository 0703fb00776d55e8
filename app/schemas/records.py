"""Requests and responses of the records' API."""

from datetime import datetime
from typing import Annotated, Any

from pydantic import AfterValidator, BaseModel, ConfigDict, Field

from app.closed_sets import Hand
from app.schemas.forms import LARGEST_ID, refuse_unseen


def _check_storable(text: str) -> str:
    """Validates that a database can store the text: no NUL, no half of a surrogate pair."""
    if "\0" in text or any("\ud800" <= c <= "\udfff" for c in text):
        raise ValueError("holds a character that cannot be stored")
    return text


Text = Annotated[str, AfterValidator(_check_storable)]


class FindIn(BaseModel):
    """The text to search bowlers by."""

    model_config = ConfigDict(extra="forbid")

    q: Annotated[Text, Field(min_length=1, max_length=200)]


class BowlerIn(BaseModel):
    """A bowler to register. `is_somebody_else` confirms that a likely duplicate is another person."""

    model_config = ConfigDict(extra="forbid", str_strip_whitespace=True)

    name: Annotated[Text, Field(min_length=1, max_length=120), AfterValidator(refuse_unseen)]
    phone: Annotated[Text, Field(max_length=40)] = ""
    hand: Hand
    home_shop_id: Annotated[int, Field(strict=True, ge=1, le=LARGEST_ID)] | None = None
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
    """A shop's depth for one system, inches, with 95 % intervals of the shop's mean and of its next ball's depth.

    `unknown` names what is unknown of every observation; the intervals count with all that it may be.
    """

    system_id: int
    system: str
    depth_in: float
    low_in: float
    high_in: float
    scatter_in: float
    next_low_in: float
    next_high_in: float
    readings: int
    unknown: list[str]


class Problem(BaseModel):
    """Why a request was refused: a sentence, or one entry for each field."""

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
    """Returns the error responses of these statuses for the API's documentation."""
    return {status: {"model": Problem, "description": _REFUSALS[status]} for status in statuses}
