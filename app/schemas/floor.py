"""The form of the shop's own numbers and words for its floor."""

from typing import Annotated, get_args

from pydantic import BeforeValidator, Field, model_validator

from app.closed_sets import TicketKind
from app.errors import FieldError
from app.schemas.forms import NoteText, SignedForm, read_whole

_MOST_MINUTES, _MOST_PRESSES, _MOST_DAYS = 600, 4, 365


def _whole(least: int, most: int) -> BeforeValidator:
    return BeforeValidator(lambda value: read_whole(value, least, most))


class FloorForm(SignedForm):
    """Minutes by kind of work are posted as `minutes-new` and so on; words left empty are the starting ones again."""

    minutes: dict[TicketKind, int]
    set_up_minutes: Annotated[int, _whole(0, _MOST_MINUTES)]
    presses: Annotated[int, _whole(1, _MOST_PRESSES)]
    follow_up_days: Annotated[int, _whole(1, _MOST_DAYS)]
    usual_words: NoteText = ""
    care_words: NoteText = ""
    wrong_minutes: Annotated[dict[str, str], Field(default_factory=dict)]

    @model_validator(mode="before")
    @classmethod
    def gather_minutes(cls, posted: dict[str, object]) -> dict[str, object]:
        """Puts the minutes of all kinds into one value; what cannot be read is told at its own field."""
        minutes, wrong = {}, {}
        for kind in get_args(TicketKind):
            try:
                minutes[kind] = read_whole(posted.get(f"minutes-{kind}", ""), 1, _MOST_MINUTES)
            except ValueError as error:
                wrong[f"minutes-{kind}"] = str(error)
        return {**posted, "minutes": minutes, "wrong_minutes": wrong}

    def find_wrong(self) -> dict[str, FieldError]:
        return {name: FieldError(words) for name, words in self.wrong_minutes.items()}
