"""Reads the damaged rows and judges what came of each against its answer, which was written by hand."""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

from app.measures.ovals import Oval
from app.measures.pitches import Pitch
from app.measures.reading import Reading
from app.schemas.bowlers import BowlerForm
from app.schemas.fits import FitSpecification
from app.sheets.cells import Sheet
from app.sheets.columns import guess_columns
from app.sheets.conventions import Conventions
from app.sheets.readings import RowReading
from tests.sheets.reading import read_rows

FOLDER = Path(__file__).parent
CSV = (FOLDER / "damaged_rows.csv").read_bytes()
CONVENTIONS = Conventions(
    style="fingertip", span_edges="cut", bridge_edges="cut", first_finger="middle", plain_vertical="forward",
    plain_lateral="right", seen_from="outside", units="in", pitch_units="in", date_order="day", name_order="last_first",
    pitch_headings="as_headed",
)  # fmt: skip


@dataclass(frozen=True)
class Answer:
    row: int
    damage: str
    outcome: str
    values: Mapping[str, str]
    field: str = ""
    offered: str = ""


def load_answers() -> list[Answer]:
    held = json.loads((FOLDER / "damaged_answers.json").read_text(encoding="utf-8"))
    return [
        Answer(a["row"], a["damage"], a["outcome"], a.get("values", {}), a.get("field", ""), a.get("offered", ""))
        for a in held
    ]


def read_damaged(sheet: Sheet, conventions: Conventions = CONVENTIONS) -> dict[int, RowReading]:
    """The readings by the row's number as a spreadsheet counts it."""
    return {r.number + 1: r for r in read_rows(sheet, guess_columns(sheet), conventions)}


def take_through_forms(row: RowReading) -> dict[str, str]:
    """The values that the app's own forms read from a row, as exact text: what would be stored."""
    bowler = BowlerForm.read({**row.bowler, "who": "1"})
    form = FitSpecification.read({**row.fit, "reason": "from a sheet"})
    found = {"name": bowler.name, "phone": bowler.phone, "hand": form.hand, "fit_date": row.beside.get("fit_date", "")}
    spans = form.spans
    found["middle_in"], found["ring_in"] = (
        (str(spans.value.middle_in), str(spans.value.ring_in)) if spans.value else (spans.state, spans.state)
    )
    found["bridge"] = _say(form.bridge)
    for digit in ("thumb", "middle", "ring"):
        hole: Reading[Oval] = getattr(form, f"{digit}_hole")
        pitch: Reading[Pitch] = getattr(form, f"{digit}_pitch")
        found[f"{digit}_hole"] = str(hole.value.hole_in) if hole.value else hole.state
        found[f"{digit}_forward"] = str(pitch.value.forward_in) if pitch.value else pitch.state
        found[f"{digit}_right"] = str(pitch.value.right_in) if pitch.value else pitch.state
    return found


def _say(reading: Reading[Fraction]) -> str:
    return str(reading.value) if reading.value is not None else reading.state


def is_right(row: RowReading, answer: Answer) -> bool:
    """Whether a taken row has every value of its answer, and nothing else."""
    found = take_through_forms(row)
    return all(_equal(found[name], value) for name, value in answer.values.items())


def _equal(found: str, wanted: str) -> bool:
    try:
        return Fraction(found) == Fraction(wanted)
    except ValueError:
        return found == wanted


def offers(row: RowReading, answer: Answer) -> bool:
    """Whether an asked row asks about the damaged field and offers the true reading, where the answer names one."""
    asked = {q.field: q for q in row.questions}
    return answer.field in asked and (not answer.offered or answer.offered in asked[answer.field].choices)
