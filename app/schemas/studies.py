from collections.abc import Mapping
from fractions import Fraction
from typing import Annotated, Any, Literal, Self

from pydantic import Field

from app.errors import FieldError, InvalidError
from app.measures.lengths import read_length
from app.measures.reading import QUANTITIES
from app.schemas.forms import Form

PEOPLE, TRIALS, PARTS = 2, 3, 3


def cell(person: int, trial: int, part: int) -> str:
    return f"p{person}t{trial}k{part}"


CELLS = [cell(p, t, k) for p in range(PEOPLE) for t in range(TRIALS) for k in range(PARTS)]


class StudyForm(Form):
    """A small gauge study: two people measure three parts three times each."""

    instrument: Annotated[str, Field(min_length=1, max_length=80)]
    measures: Literal["sleeve_to_cut", "depth"]
    values: dict[str, Fraction]

    @classmethod
    def read(cls, posted: Mapping[str, Any], **context: Any) -> Self:
        quantity = QUANTITIES["depth" if posted.get("measures") == "depth" else "sleeve_to_cut"]
        readings = {name: read_length(str(posted.get(name, "")), quantity) for name in CELLS}
        wrong = {
            n: FieldError(r.message or "This is needed.", r.choices) for n, r in readings.items() if r.value is None
        }
        form = super().read(
            {**posted, "values": {n: r.value for n, r in readings.items() if r.value is not None}}, **context
        )
        if wrong:
            raise InvalidError("Some readings need another look. Nothing was saved.", wrong)
        return form
