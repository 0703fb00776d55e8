"""Forms of stacks of paper cards: a stack, what is typed off a card with its answers, and the second look."""

from typing import Annotated, Literal

from pydantic import Field, model_validator

from app.errors import FieldError
from app.schemas.forms import Name, SignedForm
from app.sheets.paper_lines import LINES

_ANSWER, _WRITTEN, _SAID, _AT = "answer_", "write_", "said_", "at_"
_LONGEST_LINE, _LONGEST_ANSWER = 300, 300


class StackForm(SignedForm):
    """A stack by its name, and a saved way of sheets by which its cards are written."""

    name: Annotated[Name, Field(max_length=80)]
    habit: Annotated[str, Field(max_length=80)] = ""


class LeavingOutForm(SignedForm):
    """Takes a card out of its stack."""

    why: Annotated[str, Field(min_length=1, max_length=400)]


class ChangeForm(SignedForm):
    """Sets one convention to its next choice, or turns the picture."""

    way: Annotated[str, Field(max_length=40)] = ""
    turn: bool = False


class SecondLookForm(SignedForm):
    """What a second person says of a card: right, or wrong with a word."""

    verdict: Literal["right", "wrong"]
    word: Annotated[str, Field(max_length=400)] = ""

    def find_wrong(self) -> dict[str, FieldError]:
        if self.verdict == "wrong" and not self.word:
            return {"word": FieldError("Say what is wrong, in a word.")}
        return {}


class CardForm(SignedForm):
    """A card's lines as typed, with the answers to its questions by field.

    An answer holds while its line (`at_LINE`) is as it was when the answer was given.
    """

    lines: dict[str, str] = Field(default_factory=dict)
    said: dict[str, str] = Field(default_factory=dict)
    at: dict[str, str] = Field(default_factory=dict)

    @model_validator(mode="before")
    @classmethod
    def collect(cls, posted: dict[str, object]) -> dict[str, object]:
        texts = {name: str(value).strip() for name, value in posted.items()}
        lines = {name: texts.get(f"line_{name}", "") for name in LINES}
        said = _collect(texts, _SAID) | _collect(texts, _ANSWER) | _collect(texts, _WRITTEN)
        return posted | {"lines": lines, "said": said, "at": _collect(texts, _AT)}

    def find_wrong(self) -> dict[str, FieldError]:
        wrong = {f"line_{n}": FieldError(f"At most {_LONGEST_LINE} characters.") for n, text in self.lines.items()
                 if len(text) > _LONGEST_LINE}  # fmt: skip
        long = [name for name, text in self.said.items() if len(text) > _LONGEST_ANSWER]
        return wrong | {f"{_WRITTEN}{name}": FieldError(f"At most {_LONGEST_ANSWER} characters.") for name in long}


def _collect(texts: dict[str, str], prefix: str) -> dict[str, str]:
    return {name.removeprefix(prefix): text for name, text in texts.items() if name.startswith(prefix) and text}
