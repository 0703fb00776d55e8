"""Judges the rows of one pass, and stores the records of those that are taken: many at once, each with its history.

Nothing is stored of a row that is asked. A fit of somebody known is a draft at most, so that no sheet replaces what is
in force; one that says the same as the last fit is not stored again.
"""

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import cast

from sqlalchemy import Table, insert, select
from sqlalchemy.orm import Session

from app.models import AxisPoint, Ball, Bowler, BowlerWord, Fit, SheetImport, SheetRow
from app.services import axis_points, bowler_words, changes, fits, grips, sheet_doubts, sheet_forms
from app.services.sheet_doubts import Namesakes, Person
from app.services.sheet_forms import RowRecords
from app.services.sheet_rows import StoredRow, make_name_key
from app.sheets.readings import Question

LEFT_OUT = "left out by hand"
NO_SPANS = "a draft: its spans are unknown"
ROW = "row"  # the answer under which a whole row is left out


@dataclass
class JudgedRow:
    """What comes of a row: taken with its records, of `owner` if that is somebody known; asked; or refused."""

    stored: StoredRow
    records: RowRecords
    questions: list[Question]
    outcome: str
    reason: str = ""
    owner: Bowler | None = None

    @property
    def row(self) -> SheetRow:
        return self.stored.row


def judge(session: Session, of: SheetImport, read: Sequence[StoredRow]) -> list[JudgedRow]:
    """Judges consecutive rows, or one; stores nothing."""
    people = [
        Person(s.row.number, s.reading.bowler["name"], s.reading.bowler.get("phone", ""))
        for s in read
        if s.reading.outcome != "refused" and s.reading.bowler.get("name")
    ]
    with session.no_autoflush:
        choices = Namesakes(session, of).find(people)
        named = {person.number: person for person in people}
        judged = []
        for stored in read:
            if stored.reading.outcome == "refused" or stored.row.answers.get(ROW):
                reason = LEFT_OUT if stored.row.answers.get(ROW) else stored.reading.reason
                judged.append(JudgedRow(stored, RowRecords(), [], "refused", reason))
                continue
            own = JudgedRow(stored, RowRecords(), list(stored.reading.questions), "asked")
            _ask_of(session, of, own, named.get(stored.row.number), choices.get(stored.row.number, []))
            judged.append(own)
        return judged


def _ask_of(session: Session, of: SheetImport, own: JudgedRow, person: Person | None, choices: list[str]) -> None:
    """Adds what forms, namesakes and jumps ask; a row without a question is taken."""
    if own.stored.reading.outcome == "taken":
        own.records = sheet_forms.build(session, of, own.stored)
        own.questions += own.records.questions
    answer = own.row.answers.get("bowler", "")
    if person and choices and not answer:
        own.questions.append(sheet_doubts.ask_who(person, choices))
    kind, number = sheet_doubts.read_chosen(answer)
    if kind and person:
        own.owner = _find_owner(session, of, kind, number)
        if own.owner is None:
            gone = (
                f"Row {number} has no bowler yet: answer that row first." if kind == "row" else "That record is gone."
            )
            asked = sheet_doubts.ask_who(person, choices)
            own.questions.append(Question("bowler", gone, asked.choices, person.name))
        else:
            _compare(session, own, own.owner)
    if not own.questions:
        own.outcome = "taken"
        if own.records.fit and sheet_forms.lacks_spans(own.records.fit):
            own.reason = NO_SPANS
        elif own.records.fit and (unknown := grips.list_unknown_hardware(own.records.fit)):
            own.reason = f"a draft: not known which of our hardware is its {', '.join(unknown)}"


def _find_owner(session: Session, of: SheetImport, kind: str, number: int) -> Bowler | None:
    if kind == "row":
        whose = select(SheetRow.bowler_id).where(SheetRow.import_id == of.id, SheetRow.number == number)
        number = session.scalar(whose) or 0
    found = session.get(Bowler, number)
    while found and found.merged_into_id:
        found = session.get(Bowler, found.merged_into_id)
    return found if found and not found.erased_at and not found.removed_at else None


def _compare(session: Session, own: JudgedRow, owner: Bowler) -> None:
    """Settles what becomes of the fit and the axis point of somebody known."""
    told, point = own.records.fit, own.records.axis_point
    now_has = axis_points.find_current(session, owner.id, point.hand) if point else None
    if point and now_has and (now_has.over_in, now_has.up_in) == (point.over_in, point.up_in):
        own.records.axis_point = None
    if told is None:
        return
    last = sheet_doubts.find_last(session, owner.id, told.hand)
    if last is None:
        return
    if sheet_doubts.is_same(last, told):
        own.records.fit, own.reason = None, f"fit {last.letter} says the same"
        return
    answer = own.row.answers.get("jump", "")
    jump = sheet_doubts.find_jump(last, told)
    if answer == sheet_doubts.WITHOUT_FIT:
        own.records.fit, own.reason = None, "without its fit, as answered"
    elif jump and answer not in jump.choices:
        own.questions.append(jump)
    told.state, told.in_force_at = "draft", None


# Stored ---------------------------------------------------------------------------------------------------------------


def write_outcomes(judged: Sequence[JudgedRow]) -> None:
    """Notes on each row what came of it."""
    for own in judged:
        own.row.outcome, own.row.reason = own.outcome, own.reason
        own.row.questions = [asdict(question) | {"choices": list(question.choices)} for question in own.questions]
        own.row.name_key = make_name_key(own.stored.reading.bowler.get("name", ""))


def store(session: Session, of: SheetImport, judged: Sequence[JudgedRow]) -> None:
    """Stores the records of the rows that are taken, those of new bowlers all at once."""
    taken = [own for own in judged if own.outcome == "taken" and own.records.bowler]
    _store_new(session, of, [own for own in taken if own.owner is None])
    for own in taken:
        if own.owner is not None:
            _store_of_known(session, of, own, own.owner)


def _store_new(session: Session, of: SheetImport, fresh: Sequence[JudgedRow]) -> None:
    people = [own.records.bowler for own in fresh if own.records.bowler]
    changes.insert_all(session, people)
    for own, person in zip(fresh, people, strict=True):
        own.row.made_bowler = True
        _give(own, person)
    made = [own.records.fit for own in fresh if own.records.fit]
    changes.insert_all(session, made)
    for fit in made:
        for hole in fit.holes:
            hole.fit_id = fit.id
    changes.insert_all(session, [hole for fit in made for hole in fit.holes])
    changes.insert_all(session, [own.records.ball for own in fresh if own.records.ball])
    changes.insert_all(session, [own.records.axis_point for own in fresh if own.records.axis_point])
    words: list[dict[str, object]] = []
    for own, person in zip(fresh, people, strict=True):
        serials = [own.records.ball.serial] if own.records.ball else []
        words += [{"bowler_id": person.id, "word": w, "kind": k} for w, k in bowler_words.list_words(person, serials)]
    _note_made(session, of, list(zip(fresh, people, strict=True)))
    if words:
        session.execute(insert(cast("Table", BowlerWord.__table__)), words)


def _give(own: JudgedRow, owner: Bowler) -> None:
    own.row.bowler_id = owner.id
    for record in _list_of_a_bowler(own.records):
        record.bowler_id = owner.id


def _list_of_a_bowler(records: RowRecords) -> list[Fit | Ball | AxisPoint]:
    """Returns the fit, the ball and the axis point of a row, as far as it has them."""
    return [record for record in (records.fit, records.ball, records.axis_point) if record]


def _store_of_known(session: Session, of: SheetImport, own: JudgedRow, owner: Bowler) -> None:
    made = own.records.fit
    if made:
        in_force = (Fit.bowler_id == owner.id, Fit.hand == made.hand, Fit.state == "in force")
        made.revised_from_id = session.scalar(select(Fit.id).where(*in_force))
        made.revision = fits.find_next_revision(session, owner.id, made.hand)
    _give(own, owner)
    session.add_all(_list_of_a_bowler(own.records))
    session.flush()
    _note_made(session, of, [(own, owner)])
    bowler_words.index_bowler(session, owner)


def _note_made(session: Session, of: SheetImport, stored: Sequence[tuple[JudgedRow, Bowler]]) -> None:
    """Writes the first line of history of each record, with the import's name and the row, and notes it on the row."""
    lines: list[changes.Made] = []
    for own, owner in stored:
        why, records = sheet_forms.name_reason(of, own.row.number), own.records
        if own.row.made_bowler:
            lines.append(changes.Made("bowler", owner.id, f"{owner.name}, {owner.hand} hand", why, owner.id))
        if fit := records.fit:
            words = f"fit {fit.letter}, {fit.hand} hand, {fit.state}"
            lines.append(changes.Made("fit", fit.id, words, why, owner.id))
            own.row.fit_id = fit.id
        if records.ball:
            lines.append(changes.Made("ball", records.ball.id, records.ball.label, why, owner.id))
            own.row.ball_id = records.ball.id
        if point := records.axis_point:
            lines.append(changes.Made("axis_point", point.id, axis_points.describe(point), why, owner.id))
            own.row.axis_point_id = point.id
    changes.note_made(session, of.run_by_id or of.staff_id, lines)
