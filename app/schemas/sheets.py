"""Forms of moving in: a sheet, what its columns are, its conventions, and the answers to a row's questions."""

from typing import Annotated

from pydantic import Field, model_validator

from app.errors import FieldError
from app.schemas.forms import SignedForm, read_id
from app.sheets.delimited import ENCODINGS, SEPARATORS

_COLUMN, _SAID, _ANSWER, _WRITTEN = "column_", "said_", "answer_", "write_"
_LONGEST_ANSWER = 300


class UploadForm(SignedForm):
    """A file, the name of its sheet, empty for the first, a habit by whose columns it is read, and how its text is."""

    sheet: Annotated[str, Field(max_length=120)] = ""
    habit: Annotated[str, Field(max_length=80)] = ""
    encoding: Annotated[str, Field(max_length=20)] = ""
    separator: Annotated[str, Field(max_length=20)] = ""

    def find_wrong(self) -> dict[str, FieldError]:
        known = {"encoding": {"", *ENCODINGS}, "separator": {"", *SEPARATORS}}
        return {n: FieldError("Choose one of these.") for n, values in known.items() if getattr(self, n) not in values}


def _collect(posted: dict[str, object], prefix: str) -> dict[str, str]:
    return {name.removeprefix(prefix): str(value) for name, value in posted.items() if name.startswith(prefix)}


class ColumnsForm(SignedForm):
    """The field of each column by its index; empty is left out."""

    chosen: dict[int, str] = Field(default_factory=dict)

    @model_validator(mode="before")
    @classmethod
    def collect(cls, posted: dict[str, object]) -> dict[str, object]:
        columns = _collect(posted, _COLUMN)
        return posted | {"chosen": {index: field for index, field in columns.items() if read_id(index) is not None}}


class ConventionsForm(SignedForm):
    """What was said of a file by the name of each convention, and a name under which to save it for next time."""

    said: dict[str, str] = Field(default_factory=dict)
    habit: Annotated[str, Field(max_length=80)] = ""

    @model_validator(mode="before")
    @classmethod
    def collect(cls, posted: dict[str, object]) -> dict[str, object]:
        return posted | {"said": _collect(posted, _SAID)}


class AnswersForm(SignedForm):
    """Answers to a row's questions by field: the number of a choice, or what is written instead."""

    picked: dict[str, str] = Field(default_factory=dict)
    written: dict[str, str] = Field(default_factory=dict)
    leave_out: bool = False

    @model_validator(mode="before")
    @classmethod
    def collect(cls, posted: dict[str, object]) -> dict[str, object]:
        return posted | {"picked": _collect(posted, _ANSWER), "written": _collect(posted, _WRITTEN)}

    def find_wrong(self) -> dict[str, FieldError]:
        long = [name for name, text in self.written.items() if len(text) > _LONGEST_ANSWER]
        return {f"{_WRITTEN}{name}": FieldError(f"At most {_LONGEST_ANSWER} characters.") for name in long}

    def choose(self, choices: dict[str, list[str]]) -> dict[str, str]:
        """Returns the answers in words, of those questions by field that were answered."""
        said = {name: text.strip() for name, text in self.written.items() if text.strip() and name in choices}
        for name, number in self.picked.items():
            at = read_id(number)
            if name not in said and at is not None and name in choices and at < len(choices[name]):
                said[name] = choices[name][at]
        return said
