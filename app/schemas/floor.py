"""The form of the shop's own numbers and words for its floor."""

from typing import Annotated, get_args

from pydantic import BeforeValidator, Field, model_validator

from app.closed_sets import TicketKind
from app.errors import FieldError
from app.schemas.forms import NoteText, SignedForm

_MOST_MINUTES, _MOST_PRESSES, _MOST_DAYS, _MOST_DIGITS = 600, 4, 365, 6


def _read_whole(least: int, most: int) -> BeforeValidator:
    def read(value: object) -> int:
        text = str(value).strip()
        if not text.isdecimal() or len(text) > _MOST_DIGITS or not least <= int(text) <= most:
            raise ValueError(f"Write a whole number from {least} to {most}.")
        return int(text)

    return BeforeValidator(read)


class FloorForm(SignedForm):
    """Minutes by kind of work are posted as `minutes-new` and so on; words left empty are the starting ones again."""

    minutes: dict[TicketKind, int]
    set_up_minutes: Annotated[int, _read_whole(0, _MOST_MINUTES)]
    presses: Annotated[int, _read_whole(1, _MOST_PRESSES)]
    follow_up_days: Annotated[int, _read_whole(1, _MOST_DAYS)]
    usual_words: NoteText = ""
    care_words: NoteText = ""
    wrong_minutes: Annotated[dict[str, str], Field(default_factory=dict)]

    @model_validator(mode="before")
    @classmethod
    def gather_minutes(cls, posted: dict[str, object]) -> dict[str, object]:
        """Puts the minutes of all kinds into one value; what cannot be read is told at its own field."""
        minutes, wrong = {}, {}
        for kind in get_args(TicketKind):
            text = str(posted.get(f"minutes-{kind}", "")).strip()
            if text.isdecimal() and len(text) <= _MOST_DIGITS and 1 <= int(text) <= _MOST_MINUTES:
                minutes[kind] = int(text)
            else:
                wrong[f"minutes-{kind}"] = f"Write whole minutes, from 1 to {_MOST_MINUTES}."
        return {**posted, "minutes": minutes, "wrong_minutes": wrong}

    def find_wrong(self) -> dict[str, FieldError]:
        return {name: FieldError(words) for name, words in self.wrong_minutes.items()}
