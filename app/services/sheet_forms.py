"""What a row would make: a bowler, a fit and a ball, each through the form that a person would fill in.

What a form refuses becomes a question of the row at that field, and its answer goes into the form as it was typed.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date

from sqlalchemy.orm import Session

from app.calculation.grip import SolvedGrip
from app.errors import InvalidError
from app.models import AxisPoint, Ball, Bowler, Fit, InsertSystem, SheetImport
from app.schemas.balls import BallForm
from app.schemas.bowlers import BowlerForm
from app.schemas.fits import FitForm
from app.schemas.layouts import AxisPointForm
from app.services import axis_points, balls, bowlers, fits, grips
from app.services.sheet_hardware import find_hardware
from app.services.sheet_rows import StoredRow
from app.sheets.conventions import CHOICES
from app.sheets.fields import FIELDS
from app.sheets.readings import Question

AT_FORM = "form "  # prefix of a question that a form asked, and not the sheet's reading
NOT_OF_A_FIT = {"bowler", "jump", "name", "phone", "hand", "league", "notes", "guardian", "number"} | {
    f"{AT_FORM}point"
}
_BESIDE = ("system", "middle_insert", "ring_insert", "inserts", "number")
_LONGEST_REASON = 200


@dataclass
class RowRecords:
    """The records of a row before they are stored; None where the row says nothing of one."""

    bowler: Bowler | None = None
    fit: Fit | None = None
    ball: Ball | None = None
    axis_point: AxisPoint | None = None
    questions: list[Question] = field(default_factory=list)


@dataclass(frozen=True)
class FirstGrip:
    """The grip that a row makes, to be looked at before anything is taken in."""

    row_number: int
    name: str
    hand: str
    solved: SolvedGrip


def name_reason(of: SheetImport, row_number: int, day: str = "") -> str:
    """Why a record was made: the import by its file, and the row."""
    measured = f", measured {day}" if day else ""
    return f"sheet {of.file_name[:120]}, row {row_number}{measured}"[:_LONGEST_REASON]


def build(session: Session, of: SheetImport, stored: StoredRow) -> RowRecords:
    """Builds the records of a row; what cannot be built is a question of it."""
    made = RowRecords()
    reading, who = stored.reading, of.run_by_id or of.staff_id
    answers = {n.removeprefix(AT_FORM): text for n, text in stored.row.answers.items() if n.startswith(AT_FORM)}
    day = reading.beside.get("fit_date", "")
    if day > of.at.date().isoformat():
        made.questions.append(Question("fit_date", "That day is yet to come. Which day is it?", (), day))
    try:
        made.bowler = bowlers.build(BowlerForm.read({**reading.bowler, **answers, "who": who}))
    except InvalidError as error:
        made.questions += _list_asked(error, reading.bowler)
    if reading.fit:
        hardware = find_hardware(session, reading.beside, stored.row.answers)
        made.questions += hardware.questions
        notes = write_notes(reading.fit, {n: t for n, t in reading.beside.items() if n not in hardware.found})
        texts = {**reading.fit, "hand_notes": notes, **hardware.texts, **answers}
        texts |= {"reason": name_reason(of, stored.row.number, day), "who": str(who)}
        try:
            made.fit = fits.build(session, FitForm.read(texts))
            _settle_state(made.fit, of, stored.row.answers, day)
        except InvalidError as error:
            made.questions += _list_asked(error, texts)
    if point := reading.beside.get("axis_point"):
        note = name_reason(of, stored.row.number)
        texts = {"hand": reading.bowler.get("hand", ""), "point": point, "found_on": day, "found_by": "unknown"}
        try:
            made.axis_point = axis_points.build(AxisPointForm.read({**texts, "note": note, **answers, "who": who}))
        except InvalidError as error:
            made.questions += _list_asked(error, texts)
    if ball := _list_ball_texts(reading.beside):
        try:
            made.ball = balls.build(BallForm.read({**ball, **answers, "who": who}))
        except InvalidError as error:
            made.questions += _list_asked(error, ball)
    return made


def _settle_state(made: Fit, of: SheetImport, answers: Mapping[str, str], day: str) -> None:
    """In force are only fits that are whole, under conventions that somebody confirmed, with no measure asked about.

    Spans and bridge of the sheet were first written on its day, by which a hand's measures are known to be old.
    """
    if day and date.fromisoformat(day) <= of.at.date():
        made.created_at = of.at.replace(year=int(day[:4]), month=1, day=1).replace(
            month=int(day[5:7]), day=int(day[8:])
        )
    is_sure = of.confirmed_by_id is not None and not set(answers) - NOT_OF_A_FIT and not lacks_spans(made)
    if is_sure and not grips.list_missing(made):
        made.state, made.in_force_at = "in force", of.run_at or of.at


def lacks_spans(made: Fit) -> bool:
    """Whether no span is known: such a fit is a draft at most, even where the sheet says that it is unknown."""
    return made.span_middle_in is None and made.span_ring_in is None


def write_notes(fit: Mapping[str, str], beside: Mapping[str, str], where: str = "In the sheet") -> str:
    """Returns the notes of a fit, with what the sheet or card says of it that has no field."""
    told = [f"{FIELDS[name].words}: {beside[name]}" for name in _BESIDE if beside.get(name)]
    if beside.get("bore_depth"):
        datum = beside.get("bore_datum", "")
        told.append(f"depth of the thumb's bore: {beside['bore_depth']}, from {CHOICES['datum'].get(datum, datum)}")
    kept = [fit.get("hand_notes", ""), f"{where}, " + "; ".join(told) if told else ""]
    return "\n".join(filter(None, kept))


def _list_ball_texts(beside: Mapping[str, str]) -> dict[str, str]:
    names = {"label": "ball_label", "serial": "ball_serial", "weight": "ball_weight"}
    texts = {name: beside[of] for name, of in names.items() if beside.get(of)}
    return {"label": "ball of the sheet", "holes": "unknown"} | texts if texts else {}


def _list_asked(error: InvalidError, texts: Mapping[str, str]) -> list[Question]:
    found = error.fields or {}
    return [
        Question(f"{AT_FORM}{name}", of.message, tuple(of.choices), str(texts.get(name, "")))
        for name, of in found.items()
    ] or [Question(f"{AT_FORM}reason", error.message)]


def list_first_grips(session: Session, of: SheetImport, read: Sequence[StoredRow], most: int) -> list[FirstGrip]:
    """Returns the first rows that make a grip, worked out: a swapped column is seen at once in its drawing."""
    found: list[FirstGrip] = []
    for stored in read:
        made = build(session, of, stored).fit if stored.reading.outcome == "taken" else None
        if made and grips.can_solve(made):
            system = session.get(InsertSystem, made.system_id) if made.system_id else None
            solved = grips.solve(made, system)
            found.append(FirstGrip(stored.row.number, stored.reading.bowler.get("name", ""), made.hand, solved))
        if len(found) == most:
            break
    return found
