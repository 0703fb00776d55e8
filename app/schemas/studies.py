from collections.abc import Mapping
from fractions import Fraction
from typing import Annotated, Any, Self

from pydantic import Field

from app.closed_sets import Measures
from app.errors import FieldError, InvalidError
from app.measures.lengths import read_length
from app.measures.reading import QUANTITIES
from app.schemas.forms import SignedForm

PEOPLE, TRIALS, PARTS = 3, 3, 3  # of the people, the second and third may be left out


def cell(person: int, trial: int, part: int) -> str:
    return f"p{person}t{trial}k{part}"


def cells_of(person: int) -> list[str]:
    return [cell(person, t, k) for t in range(TRIALS) for k in range(PARTS)]


CELLS = [name for p in range(PEOPLE) for name in cells_of(p)]


class StudyForm(SignedForm):
    """A small gauge study: one to three people measure three parts three times each."""

    instrument: Annotated[str, Field(min_length=1, max_length=80)]
    measures: Measures
    values: dict[str, Fraction]
    typed: dict[str, str]

    @property
    def people(self) -> list[int]:
        return [p for p in range(PEOPLE) if cell(p, 0, 0) in self.values]

    @classmethod
    def read(cls, posted: Mapping[str, Any], **context: Any) -> Self:
        quantity = QUANTITIES["depth" if posted.get("measures") == "depth" else "sleeve_to_cut"]
        texts = {name: str(posted.get(name, "")).strip() for name in CELLS}
        asked = [n for p in range(PEOPLE) for n in cells_of(p) if p == 0 or any(texts[c] for c in cells_of(p))]
        readings = {name: read_length(texts[name], quantity) for name in asked}
        wrong = {
            n: FieldError(r.message or "This is needed.", r.choices) for n, r in readings.items() if r.value is None
        }
        values = {n: r.value for n, r in readings.items() if r.value is not None}
        form = super().read({**posted, "values": values, "typed": {n: texts[n] for n in asked}}, **context)
        if wrong:
            raise InvalidError("Some readings need another look. Nothing was saved.", wrong)
        return form
