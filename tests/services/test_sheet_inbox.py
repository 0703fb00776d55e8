"""Rows that ask: namesakes, jumps and unread cells are answered one by one, and only then taken in."""

from fractions import Fraction

import pytest
from fastapi import FastAPI
from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.errors import ConflictError
from app.models import Bowler, Change, Fit
from app.services import sheet_imports, sheet_inbox, sheet_passes
from tests.conftest import not_none
from tests.services.sheets import MEASURES, bring_in, list_all, make_csv, take_in, write_row

DATED = MEASURES.replace("31/32", "8-Mar")
FAR = MEASURES.replace("4 3/8,4 1/2", "5,5 1/8")


def test_a_namesake_is_asked_and_never_merged(app: FastAPI, session: Session, who: str) -> None:
    session.rollback()
    import_id = bring_in(app.state.sessions, int(who), make_csv(write_row("Anna Johnson"), write_row("Odo Brandt")))
    of = sheet_imports.get_import(session, import_id)
    rows = list_all(session, import_id)
    assert [rows[n].outcome for n in (2, 3)] == ["asked", "taken"]
    (question,) = rows[2].questions
    choices = question["choices"]
    assert isinstance(choices, list)
    assert choices[0] == "no. 1" and choices[-1] == "somebody new"
    people = session.scalar(select(func.count(Bowler.id)))
    answered = sheet_inbox.answer(session, int(who), of, 2, {"bowler": "somebody new"})
    assert answered.outcome == "taken"
    assert not_none(session.get(Fit, answered.fit_id)).state == "in force"  # no measure was asked about
    assert session.scalar(select(func.count(Bowler.id))) == not_none(people) + 1


def test_a_fit_of_somebody_known_is_a_draft_and_a_jump_is_asked(app: FastAPI, session: Session, who: str) -> None:
    session.rollback()
    data = make_csv(write_row("Odo Brandt"), write_row("Odo Brandt", measures=FAR))
    import_id = bring_in(app.state.sessions, int(who), data)
    of = sheet_imports.get_import(session, import_id)
    first = sheet_inbox.answer(session, int(who), of, 3, {"bowler": "row 2"})
    assert first.outcome == "asked"
    (question,) = first.questions
    assert question["field"] == "jump"
    assert "span to the middle 4 3/8 in fit A, here 5" in str(question["message"])
    then = sheet_inbox.answer(session, int(who), of, 3, {"jump": "as in the sheet, as a draft"})
    made = not_none(session.get(Fit, then.fit_id))
    assert (then.outcome, made.state, made.revision, made.span_middle_in) == ("taken", "draft", 2, Fraction(5))
    assert made.revised_from_id == list_all(session, import_id)[2].fit_id
    assert then.bowler_id == list_all(session, import_id)[2].bowler_id
    assert not then.made_bowler


def test_a_cell_that_became_a_date_is_asked_and_its_fit_stays_a_draft(app: FastAPI, session: Session, who: str) -> None:
    session.rollback()
    import_id = bring_in(app.state.sessions, int(who), make_csv(write_row("Odo Brandt", measures=DATED)))
    of = sheet_imports.get_import(session, import_id)
    row = not_none(sheet_inbox.find_next(session, of))
    assert [q["field"] for q in row.questions] == ["thumb_hole"]
    answered = sheet_inbox.answer(session, int(who), of, row.number, {"thumb_hole": "31/32"})
    made = not_none(session.get(Fit, answered.fit_id))
    assert (answered.outcome, made.state) == ("taken", "draft")
    assert (answered.answered_by_id, answered.answers) == (int(who), {"thumb_hole": "31/32"})
    line = select(Change.new, Change.staff_id).where(Change.noun == "sheet_row")
    assert [tuple(found) for found in session.execute(line)] == [("thumb_hole: 31/32", int(who))]
    assert sheet_inbox.find_next(session, of) is None


def test_a_fit_without_any_span_is_a_draft_and_says_so(app: FastAPI, session: Session, who: str) -> None:
    session.rollback()
    data = make_csv(write_row("Odo Brandt", measures=MEASURES.replace("4 3/8,4 1/2", "?,unknown")))
    row = list_all(session, bring_in(app.state.sessions, int(who), data))[2]
    made = not_none(session.get(Fit, row.fit_id))
    assert (row.outcome, row.reason) == ("taken", "a draft: its spans are unknown")
    assert (made.state, made.in_force_at, made.span_middle_in, made.span_ring_in) == ("draft", None, None, None)


def test_an_impossible_answer_is_asked_again(app: FastAPI, session: Session, who: str) -> None:
    session.rollback()
    import_id = bring_in(app.state.sessions, int(who), make_csv(write_row("Odo Brandt", measures=DATED)))
    of = sheet_imports.get_import(session, import_id)
    answered = sheet_inbox.answer(session, int(who), of, 2, {"thumb_hole": "nonsense"})
    assert (answered.outcome, answered.bowler_id) == ("asked", None)
    assert [q["field"] for q in answered.questions] == ["thumb_hole"]


def test_a_row_is_left_out_by_hand_and_not_answered_twice(app: FastAPI, session: Session, who: str) -> None:
    session.rollback()
    import_id = bring_in(app.state.sessions, int(who), make_csv(write_row("Odo Brandt", measures=DATED)))
    of = sheet_imports.get_import(session, import_id)
    row = sheet_inbox.leave_out(session, int(who), of, 2)
    assert (row.outcome, row.reason, row.bowler_id) == ("refused", "left out by hand", None)
    with pytest.raises(ConflictError, match="refused already"):
        sheet_inbox.answer(session, int(who), of, 2, {"thumb_hole": "31/32"})


def test_rows_are_not_answered_before_the_import(session: Session, who: str) -> None:
    import_id = take_in(session, int(who), make_csv(write_row("Odo Brandt", measures=DATED)))
    with pytest.raises(ConflictError, match="once the import is done"):
        sheet_inbox.answer(session, int(who), sheet_imports.get_import(session, import_id), 2, {})
    assert sheet_passes.ENDS.keys() == {"trying", "running", "taking back"}
