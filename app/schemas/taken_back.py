from typing import Annotated

from pydantic import Field, model_validator

from app.schemas.forms import Id, OptionalId, SignedForm

Why = Annotated[str, Field(min_length=1, max_length=400)]


class TakingBackForm(SignedForm):
    """Takes something back, or undoes that, with the reason."""

    why: Why


class OwnerForm(SignedForm):
    """Moves a ball or an inner to another bowler."""

    to_id: OptionalId = None
    why: Why


class BowlerMergerForm(SignedForm):
    """Makes two records of one bowler one: `answers` by field hold the id of whose value stays, or `both`."""

    other_id: Id
    other_version: Id
    stays: OptionalId = None
    why: Why
    answers: dict[str, str] = Field(default_factory=dict)

    @model_validator(mode="before")
    @classmethod
    def collect_answers(cls, posted: dict[str, object]) -> dict[str, object]:
        return posted | {"answers": _collect(posted, "which_")}


class PartingForm(SignedForm):
    """Parts two records again: `given` by field or row holds the id of the bowler whose it is."""

    why: Why
    given: dict[str, str] = Field(default_factory=dict)

    @model_validator(mode="before")
    @classmethod
    def collect_given(cls, posted: dict[str, object]) -> dict[str, object]:
        return posted | {"given": _collect(posted, "whose_")}


def _collect(posted: dict[str, object], prefix: str) -> dict[str, str]:
    return {name: str(value) for name, value in posted.items() if name.startswith(prefix)}


class TakingOffForm(SignedForm):
    """Takes a favourite off its list; `ball_id` is the ball at whose page it was seen."""

    ball_id: OptionalId = None
