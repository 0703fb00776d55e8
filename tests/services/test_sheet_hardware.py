"""Hardware and axis points that a sheet names become the shop's own records, or are asked, and are taken back."""

from fractions import Fraction

import pytest
from fastapi import FastAPI
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.errors import InvalidError
from app.models import AxisPoint, Ball, Bowler, Fit, InsertSystem, now
from app.schemas.fits import FitForm, InForceForm
from app.schemas.taken_back import TakingBackForm
from app.services import axis_points, fit_texts, fits, grips, sheet_imports, sheet_inbox, sheet_passes
from app.services.sheet_hardware import WITHOUT, find_hardware, list_hardware
from tests.conftest import not_none
from tests.services.sheets import HEADINGS, bring_in, list_all, make_csv, run, write_row


def make_sheet(*rows: tuple[str, str, str, str]) -> bytes:
    """A sheet with hardware and axis points: of each row its name, inner, middle insert and axis point."""
    lines = [f"{HEADINGS},Inner,Middle insert,PAP"]
    lines += [f'{write_row(name)},"{inner}","{insert}","{point}"' for name, inner, insert, point in rows]
    return "\n".join(lines).encode()


def find_labels(session: Session) -> list[tuple[int, str]]:
    """The first hardware of ours for a thumb and for a finger."""
    listed = select(InsertSystem.id, InsertSystem.label, InsertSystem.digit).order_by(InsertSystem.id.desc())
    first = {digit: (number, label) for number, label, digit in session.execute(listed)}
    return [first["thumb"], first["finger"]]


def test_the_same_words_are_the_record_and_others_are_asked_or_kept(session: Session) -> None:
    gone = find_hardware(session, {"system": "Old red one"}, {})
    label = not_none(session.scalar(select(InsertSystem).where(InsertSystem.digit == "thumb").limit(1)))
    same = find_hardware(session, {"system": label.label.upper()}, {})
    assert same.texts == {"system_id": str(label.id)}
    part = find_hardware(session, {"system": label.label.split()[0]}, {})
    assert (part.texts, [q.field for q in part.questions]) == ({}, ["hardware_system"])
    assert label.label in part.questions[0].choices and part.questions[0].choices[-2:] == (WITHOUT, "unknown")
    assert (gone.texts, gone.questions) == ({"system_id": "unknown"}, [])
    for answer, texts in ((WITHOUT, {}), ("unknown", {"system_id": "unknown"})):
        left = find_hardware(session, {"system": label.label.split()[0]}, {"hardware_system": answer})
        assert (left.texts, left.questions) == (texts, [])


def test_hardware_that_was_taken_back_is_neither_found_nor_offered(session: Session) -> None:
    gone = not_none(session.scalar(select(InsertSystem).where(InsertSystem.digit == "thumb").limit(1)))
    gone.removed_at = now()
    session.flush()
    told = find_hardware(session, {"system": gone.label}, {})
    assert told.texts.get("system_id") != str(gone.id)
    assert [label for question in told.questions for label in question.choices if label == gone.label] == []


@pytest.mark.parametrize("text", ["none", "No", "-", "n/a", "no insert", "without sleeve"])
def test_a_sheet_that_says_none_means_none(session: Session, text: str) -> None:
    told = find_hardware(session, {"system": text, "inserts": text}, {})
    assert (told.texts, told.questions, told.words) == ({}, [], {"system": "none", "inserts": "none"})


def test_hardware_that_is_not_ours_is_unknown_and_never_none(app: FastAPI, session: Session, who: str) -> None:
    session.rollback()
    import_id = bring_in(app.state.sessions, int(who), make_sheet(("Una Quist", "old red one", "blue thing", "")))
    row = list_all(session, import_id)[2]
    made = fits.get_fit(session, not_none(row.fit_id))
    assert (row.outcome, made.state) == ("taken", "draft")
    assert row.reason == "a draft: not known which of our hardware is its thumb insert, middle insert"
    assert grips.list_missing(made) == ["thumb insert", "middle insert"]
    with pytest.raises(InvalidError):
        fits.put_in_force(session, made.id, InForceForm.read({"who": who, "version": str(made.version)}))
    assert fit_texts.list_texts(made)["system_id"] == "unknown"
    posted = {**fit_texts.list_texts(made), "who": who, "version": str(made.version)}
    fits.edit(session, made.id, FitForm.read(posted))
    assert grips.list_missing(made) == ["thumb insert", "middle insert"]  # another change leaves it unknown
    posted |= {"system_id": "", "middle_insert": "", "version": str(made.version)}
    fits.edit(session, made.id, FitForm.read(posted))
    assert grips.list_missing(made) == []
    named = {"system": "old red one", "number": "7"}
    assert list_hardware(session, named, {}) == [("system", "old red one", "unknown which")]


def test_hardware_and_axis_point_are_records_and_go_with_the_batch(app: FastAPI, session: Session, who: str) -> None:
    (thumb_id, thumb), (finger_id, finger) = find_labels(session)
    session.rollback()
    data = make_sheet(("Odo Brandt", thumb, finger, "5 1/4 over 1/2 up"), ("Una Quist", "old red one", "", ""))
    import_id = bring_in(app.state.sessions, int(who), data)
    row, other = (list_all(session, import_id)[n] for n in (2, 3))
    made, plain = fits.get_fit(session, row.fit_id or 0), fits.get_fit(session, other.fit_id or 0)
    point = not_none(session.get(AxisPoint, row.axis_point_id))
    assert (made.system_id, made.hole("middle").system_id) == (thumb_id, finger_id)
    assert (point.bowler_id, point.hand, point.over_in, point.up_in) == (
        row.bowler_id, "right", Fraction(21, 4), Fraction(1, 2),
    )  # fmt: skip
    assert str(point.found_on) == "2024-03-08"
    assert thumb not in made.hand_notes and "axis point" not in made.hand_notes
    assert (plain.system_id, other.axis_point_id) == (None, None)
    assert "old red one" in plain.hand_notes
    session.rollback()
    form = TakingBackForm.read({"why": "the wrong file", "version": "1", "who": who})
    run(app.state.sessions, import_id, int(who), lambda s, _, of: sheet_passes.start_taking_back(s, of, form))
    session.expire_all()
    assert not_none(session.get(AxisPoint, row.axis_point_id)).taken_back_at is not None
    assert not_none(session.get(Bowler, row.bowler_id)).removed_at is not None
    assert not_none(session.get(Fit, row.fit_id)).state == "discarded"


def test_a_ball_of_a_sheet_may_be_drilled_already(app: FastAPI, session: Session, who: str) -> None:
    session.rollback()
    row = f"{write_row('Una Quist', ball='Blue,AB-1')}"
    import_id = bring_in(app.state.sessions, int(who), make_csv(row))
    made = not_none(session.get(Ball, list_all(session, import_id)[2].ball_id))
    assert (made.serial, made.is_perhaps_drilled) == ("AB-1", True)


def test_nearly_the_same_words_are_answered_in_the_inbox(app: FastAPI, session: Session, who: str) -> None:
    (thumb_id, thumb), _ = find_labels(session)
    session.rollback()
    data = make_sheet(("Odo Brandt", thumb.split()[0], "", "5 1/4 over 1/2 up left"))
    import_id = bring_in(app.state.sessions, int(who), data)
    of = sheet_imports.get_import(session, import_id)
    row = list_all(session, import_id)[2]
    assert row.outcome == "asked"
    answered = sheet_inbox.answer(
        session, int(who), of, 2, {"hardware_system": thumb, "axis_point": "5 1/4 over 1/2 up"}
    )
    assert (answered.outcome, [q["field"] for q in answered.questions]) == ("taken", [])
    made = fits.get_fit(session, answered.fit_id or 0)
    assert (made.system_id, made.state) == (thumb_id, "draft")  # a person chose: it is looked at before it counts
    current = axis_points.find_current(session, answered.bowler_id or 0, "right")
    assert not_none(current).id == answered.axis_point_id
