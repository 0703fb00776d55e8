"""A regulation of static balance and holes: its data as stored and imported, and the form an owner types it in.

Amounts are exact fractions as text. A limit of None is not said by the source: no verdict is given on it.
"""

import json
import re
from datetime import date
from fractions import Fraction
from itertools import pairwise
from typing import Annotated, Literal

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, ValidationError, model_validator

from app.errors import FieldError, InvalidError
from app.measures.lengths import read_length
from app.measures.ounces import HEAVIEST_OZ, LIGHTEST_OZ, read_ball_ounces, read_ounces
from app.measures.reading import HOLE_LIMIT, SMALL_LIMIT, Reading
from app.measures.wording import exact
from app.schemas.forms import NoteText, SignedForm, read_whole, refuse_unseen, refuse_unseen_in_lines

_MOST_TEXT = 15_000


_AMOUNT = re.compile(r"[0-9]{1,6}(\.[0-9]{1,18})?|[0-9]{1,30}/[1-9][0-9]{0,29}")  # its length bounds its arithmetic
_LEAST_LIMIT_OZ = Fraction(1, 1000)  # a smaller one would be shown as 0.000 oz


def _amount(what: str, low: Fraction | int, high: Fraction | int, unit: str) -> BeforeValidator:
    """Returns a validator of a number or of a text such as 3/4, which becomes the text of its fraction."""

    def to_exact(value: object) -> str:
        text = str(value).strip() if isinstance(value, (int, float, str)) and not isinstance(value, bool) else ""
        if not _AMOUNT.fullmatch(text):
            raise ValueError("Write a number, or a fraction such as 3/4.")
        if not low <= (amount := Fraction(text)) <= high:
            raise ValueError(f"{what} is {exact(Fraction(low))} to {exact(Fraction(high))} {unit}.")
        return str(amount)

    return BeforeValidator(to_exact)


def _require_visible(value: str) -> str:
    if 0 < Fraction(value) < _LEAST_LIMIT_OZ:
        raise ValueError(f"A limit is 0, or at least {exact(_LEAST_LIMIT_OZ)} oz.")
    return value


BallOunces = Annotated[str, _amount("The weight of a ball", LIGHTEST_OZ, HEAVIEST_OZ, "oz")]
LimitOunces = Annotated[
    str, _amount("A limit", SMALL_LIMIT.low, SMALL_LIMIT.high, "oz"), AfterValidator(_require_visible)
]
Size = Annotated[str, _amount("A size", HOLE_LIMIT.low, HOLE_LIMIT.high, "in")]
Words = Annotated[NoteText, AfterValidator(refuse_unseen_in_lines)]
Notes = Annotated[str, Field(max_length=4000), AfterValidator(refuse_unseen_in_lines)]


class WeightClass(BaseModel):
    """Limits of balls heavier than `over_oz` and up to `up_to_oz`, which is within; None: without end."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    over_oz: BallOunces | None = None
    up_to_oz: BallOunces | None = None
    top_bottom_oz: LimitOunces | None = None
    side_oz: LimitOunces | None = None
    finger_thumb_oz: LimitOunces | None = None

    @model_validator(mode="after")
    def require_order(self) -> "WeightClass":
        if self.over_oz and self.up_to_oz and Fraction(self.over_oz) >= Fraction(self.up_to_oz):
            raise ValueError("Over is not less than up to.")
        if self.top_bottom_oz is None and self.side_oz is None and self.finger_thumb_oz is None:
            raise ValueError("No limit is given.")
        return self

    def holds(self, weight_oz: Fraction) -> bool:
        is_over = self.over_oz is None or weight_oz > Fraction(self.over_oz)
        return is_over and (self.up_to_oz is None or weight_oz <= Fraction(self.up_to_oz))


def _require_apart(classes: list[WeightClass]) -> list[WeightClass]:
    """Raises ValueError for two classes that hold the same weight."""
    ordered = sorted(classes, key=lambda of: Fraction(of.over_oz or 0))
    for lower, upper in pairwise(ordered):
        if lower.up_to_oz is None or Fraction(lower.up_to_oz) > Fraction(upper.over_oz or 0):
            raise ValueError("Two weight classes hold the same weight.")
    return classes


Classes = Annotated[list[WeightClass], AfterValidator(_require_apart), Field(max_length=12)]


class RegulationBody(BaseModel):
    """What a regulation says. Balls without a thumb hole, or any hole, may have classes of their own.

    Only the classes and the plus are judged; holes, sizes, devices and balls without any hole are kept for reading.
    """

    model_config = ConfigDict(extra="forbid", frozen=True)

    classes: Annotated[Classes, Field(min_length=1)]
    without_thumb: Classes = []
    without_holes: Classes = []
    most_holes: Annotated[int, Field(ge=0, le=20)] | None = None
    counted_holes: Words = ""
    vent_largest_in: Size | None = None
    mill_hole_largest_in: Size | None = None
    mill_hole_deepest_in: Size | None = None
    needs_plus_without_thumb: bool | None = None
    device_words: Words = ""
    notes: Notes = ""
    typed: dict[str, Annotated[str, Field(max_length=120), AfterValidator(refuse_unseen_in_lines)]] = {}

    def find_class(self, weight_oz: Fraction, has_thumb: bool = True) -> WeightClass | None:
        """Returns the limits of a drilled ball of this weight, None where nothing is said of such a ball."""
        own = self.classes if has_thumb or not self.without_thumb else self.without_thumb
        return next((of for of in own if of.holds(weight_oz)), None)


def _read_day(value: object) -> object:
    if not value or not isinstance(value, (str, date)):
        raise ValueError("From which day is it in force?")
    return value


Edition = Annotated[str, Field(min_length=1, max_length=120), AfterValidator(refuse_unseen)]
Source = Annotated[str, Field(min_length=1, max_length=400), AfterValidator(refuse_unseen)]
Day = Annotated[date, BeforeValidator(_read_day)]


class RegulationFile(BaseModel):
    """A whole regulation as imported, and as its page shows it for another shop."""

    model_config = ConfigDict(extra="forbid")

    edition: Edition
    in_force_from: Day
    source: Source
    is_example: bool = False
    body: RegulationBody


class ImportForm(SignedForm):
    text: Annotated[str, Field(min_length=1, max_length=_MOST_TEXT)]

    def read_file(self) -> RegulationFile:
        """Returns the regulation that the text holds; raises InvalidError at `text`."""
        try:
            return RegulationFile.model_validate(json.loads(self.text))
        except json.JSONDecodeError as error:
            raise InvalidError.at("text", f"That is no JSON: line {error.lineno}, column {error.colno}.") from None
        except (ValueError, RecursionError) as error:
            raise InvalidError.at("text", _tell(error)) from None


def _tell(error: ValueError | RecursionError) -> str:
    if isinstance(error, RecursionError):
        return "That is nested too deeply for a regulation."
    if not isinstance(error, ValidationError):
        return "A number in that has too many digits."
    first = error.errors()[0]
    where = ".".join(map(str, first["loc"]))
    return f"{where or 'The whole'}: {first['msg'].removeprefix('Value error, ')}"


class EndingForm(SignedForm):
    """Ends a regulation on a day; one that ends on the day it began, or before, was never in force."""

    ended_on: Day
    why: Annotated[str, Field(min_length=1, max_length=400)]


# As typed -------------------------------------------------------------------------------------------------------------

# the rows of the form: a short name, the list that it goes to, and what its legend says
ROWS = {
    "c1": ("classes", "Balls with all their holes"),
    "c2": ("classes", "A lighter class"),
    "c3": ("classes", "The lightest"),
    "t1": ("without_thumb", "Balls drilled without a thumb hole"),
    "n1": ("without_holes", "Balls without any hole, kept for reading"),
}
CELLS = ("over", "up_to", "top_bottom", "side", "finger_thumb")
_SIZES = ("vent_largest", "mill_hole_largest", "mill_hole_deepest")


def _read_cell(cell: str, text: str) -> Reading[Fraction]:
    return read_ball_ounces(text) if cell in {"over", "up_to"} else read_ounces(text, SMALL_LIMIT)


class RegulationForm(SignedForm):
    """A regulation as an owner types it: `texts` holds the measures by field."""

    edition: Edition
    in_force_from: Day
    source: Source
    most_holes: Annotated[int | None, BeforeValidator(lambda value: read_whole(value, 0, 20) if value else None)] = None
    counted_holes: Words = ""
    needs_plus_without_thumb: Literal["yes", "no", "unknown"] = "unknown"
    device_words: Words = ""
    notes: Notes = ""
    texts: dict[str, str] = Field(default_factory=dict)

    @model_validator(mode="before")
    @classmethod
    def collect_texts(cls, posted: dict[str, object]) -> dict[str, object]:
        names = [*(f"{row}_{cell}" for row in ROWS for cell in CELLS), *_SIZES]
        return posted | {"texts": {name: text for name in names if (text := str(posted.get(name) or "").strip())}}

    def _read(self) -> dict[str, Reading[Fraction]]:
        found = {}
        for name, text in self.texts.items():
            is_size = name in _SIZES
            found[name] = read_length(text, HOLE_LIMIT) if is_size else _read_cell(name.split("_", 1)[1], text)
        return found

    def find_wrong(self) -> dict[str, FieldError]:
        wrong = {n: FieldError(r.message, r.choices) for n, r in self._read().items() if not r.is_usable}
        if wrong:
            return wrong
        try:
            self.to_body()
        except ValidationError as error:
            return self._place(error)
        return {}

    def _place(self, error: ValidationError) -> dict[str, FieldError]:
        """Returns what is wrong with the rows, at the first field of the first row of its list."""
        first = error.errors()[0]
        group = str(first["loc"][0]) if first["loc"] else "classes"
        place = first["loc"][1] if len(first["loc"]) > 1 else 0
        filled = [row for row, (own, _) in ROWS.items() if own == group and self._cells(row)]
        row = filled[place] if isinstance(place, int) and place < len(filled) else "c1"
        cell = str(first["loc"][2]).removesuffix("_oz") if len(first["loc"]) > 2 else "over"
        is_missing = first["type"] == "too_short"
        message = "Write at least one limit." if is_missing else first["msg"].removeprefix("Value error, ")
        return {f"{row}_{'top_bottom' if is_missing else cell}": FieldError(message)}

    def _cells(self, row: str) -> dict[str, str]:
        return {cell: self.texts[f"{row}_{cell}"] for cell in CELLS if f"{row}_{cell}" in self.texts}

    def to_body(self) -> RegulationBody:
        """Returns the data to be stored; raises ValidationError for classes that contradict each other."""
        read = {name: str(reading.value) for name, reading in self._read().items() if reading.value is not None}
        groups: dict[str, list[dict[str, str]]] = {"classes": [], "without_thumb": [], "without_holes": []}
        for row, (group, _) in ROWS.items():
            if self._cells(row):
                own = {f"{cell}_oz": read[f"{row}_{cell}"] for cell in CELLS if f"{row}_{cell}" in read}
                groups[group].append(own)
        said = {"yes": True, "no": False, "unknown": None}[self.needs_plus_without_thumb]
        return RegulationBody.model_validate(
            groups
            | {f"{name}_in": read.get(name) for name in _SIZES}
            | {"most_holes": self.most_holes, "counted_holes": self.counted_holes, "needs_plus_without_thumb": said}
            | {"device_words": self.device_words, "notes": self.notes, "typed": self.texts}
        )
