"""Base of every form: measures are read by `app.measures`, errors name their fields, the caller keeps the typed text.

A form is a whole record. `Form.read` validates the posted dict of a page; when it raises InvalidError, the page renders
the same form again with status 422 and the typed text. FastAPI's own form models would accept other content types.
"""

import re
import unicodedata
from collections.abc import Callable, Mapping
from datetime import date
from fractions import Fraction
from functools import lru_cache
from typing import Annotated, Any, Self, TypeVar

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, ValidationError, ValidationInfo
from pydantic_core import ErrorDetails, PydanticCustomError

from app.closed_sets import Datum
from app.errors import FieldError, InvalidError
from app.measures.amounts import WrittenDepth, read_depth, read_proud, read_weight
from app.measures.lengths import read_length
from app.measures.offsets import read_offset
from app.measures.ovals import Oval, Towards, read_clock, read_oval, read_towards
from app.measures.pairs import SpanPair, read_span_pair
from app.measures.pitches import Pitch, read_pitch
from app.measures.reading import QUANTITIES, Reading

T = TypeVar("T")

# a page posts its form at each change of a field, and all its other texts are as they were
_read_pitch = lru_cache(maxsize=1_000)(read_pitch)
_read_pair = lru_cache(maxsize=500)(read_span_pair)
_read_oval = lru_cache(maxsize=500)(read_oval)


@lru_cache(maxsize=2_000)
def _read_length(text: str, quantity: str) -> Reading[Fraction]:
    return read_length(text, QUANTITIES[quantity])


_SENTENCES = {
    "missing": "This is needed.",
    "string_too_short": "This is needed.",
    "int_parsing": "Choose one.",
    "int_type": "Choose one.",
    "literal_error": "Choose one.",
    "greater_than_equal": "Choose one.",
    "less_than_equal": "Choose one.",
    "string_too_long": "That is too long: at most {max_length} characters.",
    "value_error": "{error}",
    "date_from_datetime_parsing": "Write the day as 2026-11-25.",
}


_OWN_SENTENCES = {"who": "Tap your initials.", "version": "Load this page again, then save."}
_WHOLE = {"guardian": "guardian"}  # checks of several fields together, and the field that shows their errors
LARGEST_ID = 2**31 - 1
Id = Annotated[int, Field(ge=0, le=LARGEST_ID)]
OptionalId = Annotated[Id | None, BeforeValidator(lambda value: value or None)]


_JOINERS = "\u200c\u200d"  # of Persian and of emoji


def refuse_unseen(text: str) -> str:
    """Refuses a name with characters that nobody sees, or that turn the writing round: two such names look alike."""
    if not text.strip(_JOINERS) or any(
        unicodedata.category(c) in {"Cc", "Cf", "Cs"} for c in text if c not in _JOINERS
    ):
        raise ValueError("That holds a character that cannot be seen. Type it by hand.")
    return text


def refuse_unseen_in_lines(text: str) -> str:
    """Refuses, as `refuse_unseen`, in a text that may be empty and may have several lines."""
    for line in re.split(r"[\n\r\t]+", text):
        if line:
            refuse_unseen(line)
    return text


def read_id(text: str) -> int | None:
    """Parses a record's id from a form that is not validated as a whole; None for any other text."""
    return int(text) if text.isdecimal() and len(text) < len(str(LARGEST_ID)) else None


_MOST_DIGITS = 9


def read_whole(value: object, least: int, most: int, words: str = "") -> int:
    """Returns the number that a text of plain digits says; raises ValueError, with `words`, for any other or beyond."""
    text = str(value).strip()
    if not text.isascii() or not text.isdecimal() or len(text) > _MOST_DIGITS or not least <= int(text) <= most:
        raise ValueError(words or f"Write a whole number from {least} to {most}.")
    return int(text)


class Form(BaseModel):
    """A validated form that nobody has signed."""

    model_config = ConfigDict(str_strip_whitespace=True, arbitrary_types_allowed=True, extra="ignore")

    @classmethod
    def read(cls, posted: Mapping[str, Any], **context: Any) -> Self:
        """Returns the validated form; raises InvalidError with a message for each wrong field."""
        try:
            form = cls.model_validate(dict(posted), context={**posted, **context})
            wrong = form.find_wrong()
        except ValidationError as error:
            wrong = _by_field(error)
        if wrong:
            raise InvalidError("Some fields need another look. Nothing was saved.", wrong)
        return form

    def find_wrong(self) -> dict[str, FieldError]:
        """Returns what is wrong with fields that are right by themselves and contradict each other."""
        return {}


class SignedForm(Form):
    """A form signed by `who`, a member of staff; `version` is the version of the record that the form showed."""

    who: Id
    version: Annotated[Id, BeforeValidator(lambda value: value or 0)] = 0


def _by_field(error: ValidationError) -> dict[str, FieldError]:
    fields: dict[str, FieldError] = {}
    for problem in error.errors():
        name = str(problem["loc"][0]) if problem["loc"] else _WHOLE.get(problem["type"], "")
        choices = tuple(problem.get("ctx", {}).get("choices", ()))
        fields.setdefault(name, FieldError(_OWN_SENTENCES.get(name) or _sentence(problem), choices))
    if "version" in fields:  # a hidden field, so its error belongs to the whole form
        fields[""] = fields.pop("version")
    return fields


def _sentence(problem: ErrorDetails) -> str:
    known = _SENTENCES.get(problem["type"])
    return known.format(**problem.get("ctx", {})) if known else problem["msg"]


def make_reader(reader: Callable[[str, dict[str, Any]], Reading[T]], needed: bool = False) -> BeforeValidator:
    def validate(value: Any, info: ValidationInfo) -> Reading[T]:
        reading = reader(str(value or ""), info.context or {})
        if not reading.is_usable:
            raise PydanticCustomError("measure", "{message}", {"message": reading.message, "choices": reading.choices})
        if needed and reading.state != "value":
            raise PydanticCustomError("measure", "{message}", {"message": "This is needed.", "choices": ()})
        return reading

    return BeforeValidator(validate)


BLANK = Field(default="", validate_default=True)  # a measure that is not sent is read as empty


def length(quantity: str, needed: bool = False) -> BeforeValidator:
    """Returns a validator that reads a length of a named quantity (see `app.measures.reading`)."""
    return make_reader(lambda text, _: _read_length(text, quantity), needed)


def pitch(hole: str) -> BeforeValidator:
    """Returns a validator that reads a pitch in two parts; the form's `hand` decides which side is under the palm."""
    return make_reader(lambda text, context: _read_pitch(text, str(context.get("hand", "")), hole))


def refuse_empty(reading: Reading[T]) -> Reading[T]:
    if reading.state == "absent":
        sentence = "This is needed. Write unknown if nobody measured it."
        raise PydanticCustomError("measure", "{message}", {"message": sentence, "choices": ()})
    return reading


def _met_pitch(text: str, context: dict[str, Any]) -> Reading[Pitch]:
    hole = "thumb" if context.get("hole") == "thumb" else "finger"
    return _read_pitch(text, str(context.get("hand", "")), hole)


def _span_pair(text: str, context: dict[str, Any]) -> Reading[SpanPair]:
    return _read_pair(text, str(context.get("first_finger", "")), str(context.get("grip_holes") or "three"))


def _take_written_datum(value: object, info: ValidationInfo) -> object:
    """A depth that names its datum needs none chosen beside it."""
    depth = info.data.get("depth")
    return value or (depth.value.datum if isinstance(depth, Reading) and depth.value else value)


def _limit(text: str, context: dict[str, Any]) -> Reading[Fraction]:
    return _read_length(text, str(context.get("quantity", "tolerance")))


Length = Reading[Fraction]
SpanPairText = Annotated[Reading[SpanPair], make_reader(_span_pair), BLANK]
BridgeText = Annotated[Length, length("bridge"), BLANK]
HoleText = Annotated[Length, length("hole"), BLANK]
OvalText = Annotated[Reading[Oval], make_reader(lambda text, _: _read_oval(text)), BLANK]
NeededOvalText = Annotated[Reading[Oval], make_reader(lambda text, _: _read_oval(text), needed=True), BLANK]
OffsetText = Annotated[Length, make_reader(lambda text, _: read_offset(text)), BLANK]
TowardsText = Annotated[Reading[Towards], make_reader(lambda text, _: read_towards(text)), BLANK]
ClockText = Annotated[Length, make_reader(lambda text, _: read_clock(text)), BLANK]
ThumbPitchText = Annotated[Reading[Pitch], pitch("thumb"), BLANK]
FingerPitchText = Annotated[Reading[Pitch], pitch("finger"), BLANK]
MetPitchText = Annotated[Reading[Pitch], make_reader(_met_pitch), BLANK]
DiameterText = Annotated[Length, length("diameter"), BLANK]
DepthText = Annotated[Length, length("depth"), BLANK]
WrittenDepthText = Annotated[Reading[WrittenDepth], make_reader(lambda text, _: read_depth(text)), BLANK]
CircumferenceText = Annotated[Length, length("circumference"), BLANK]
ShimText = Annotated[Length, length("shim"), BLANK]
NeededDiameterText = Annotated[Length, length("diameter", needed=True), BLANK]
SaidDiameterText = Annotated[Length, length("diameter"), AfterValidator(refuse_empty), BLANK]
FinishText = Annotated[
    Length,
    make_reader(lambda text, of: _read_length(text, "reach" if of.get("is_reached") else "sleeve_to_cut")),
    BLANK,
]
NeededDepthText = Annotated[Reading[WrittenDepth], make_reader(lambda text, _: read_depth(text), needed=True), BLANK]
NeededHeightText = Annotated[Length, length("depth", needed=True), BLANK]
ProudText = Annotated[Length, make_reader(lambda text, _: read_proud(text)), BLANK]
NeededProudText = Annotated[Length, make_reader(lambda text, _: read_proud(text), needed=True), BLANK]
WeightText = Annotated[Length, make_reader(lambda text, _: read_weight(text)), BLANK]
ResolutionText = Annotated[Length, length("resolution"), BLANK]
DatumBeside = Annotated[Datum, BeforeValidator(_take_written_datum)]  # of the field `depth` before it
ArcText = Annotated[Length, length("arc"), BLANK]
NeededArcText = Annotated[Length, length("arc", needed=True), BLANK]
SaidHoleText = Annotated[Length, length("hole"), AfterValidator(refuse_empty), BLANK]
SaidDepthText = Annotated[Length, length("depth"), AfterValidator(refuse_empty), BLANK]
SaidPitchText = Annotated[Reading[Pitch], make_reader(_met_pitch), AfterValidator(refuse_empty), BLANK]
LimitText = Annotated[Length, make_reader(_limit), BLANK]


def pitch_parts(reading: Reading[Pitch]) -> dict[str, Fraction | None]:
    """Returns a typed pitch by the names of its columns: 0 for an empty field, None for an unknown pitch.

    The 0 of an empty field is told from a typed one by `mark_unasked`.
    """
    if reading.state == "unknown":
        return {"forward_in": None, "right_in": None}
    value = reading.value or Pitch(Fraction(0), Fraction(0))
    return {"forward_in": value.forward_in, "right_in": value.right_in}


def chosen(sentence: str) -> AfterValidator:
    """Returns a validator for a measure that is chosen or asked about: unknown is no choice, the sentence says why."""

    def check(reading: Reading[T]) -> Reading[T]:
        if reading.state == "unknown":
            raise PydanticCustomError("measure", "{message}", {"message": sentence, "choices": ()})
        return reading

    return AfterValidator(check)


LiftText = Annotated[
    TowardsText, chosen("Nothing can be worked out over an unknown lift: measure it, or leave it empty.")
]


def typed_texts(form: Form) -> dict[str, str]:
    """Returns the typed text of each measure field by its name, to be stored beside the exact values."""
    return {name: value.text for name, value in form if isinstance(value, Reading) and value.text}


def mark_unasked(reading: Reading[T], field: str, words: str) -> dict[str, str]:
    """Returns these words as the text of a field that was left empty and has a value all the same; else nothing."""
    return {field: words} if reading.state == "absent" and not reading.text else {}


def written_like(pattern: str, sentence: str) -> AfterValidator:
    """Returns a validator of the whole text against a pattern, with the sentence for its error."""

    def check(text: str) -> str:
        if not re.fullmatch(pattern, text):
            raise PydanticCustomError("written", "{sentence}", {"sentence": sentence})
        return text

    return AfterValidator(check)


def _require_day(value: Any) -> Any:
    if not value:
        raise ValueError("Which day was it?")
    return value


def _refuse_future(value: date) -> date:
    if value > date.today():
        raise ValueError("That day has not come yet.")
    return value


PastDay = Annotated[date, BeforeValidator(_require_day), AfterValidator(_refuse_future)]
OptionalDay = Annotated[date | None, BeforeValidator(lambda value: value or None)]
OptionalPastDay = Annotated[OptionalDay, AfterValidator(lambda value: value and _refuse_future(value))]
Name = Annotated[str, Field(min_length=1, max_length=120), AfterValidator(refuse_unseen)]
ShortText = Annotated[str, Field(max_length=200)]
NoteText = Annotated[str, Field(max_length=2000)]
