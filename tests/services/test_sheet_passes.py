"""Passes over a sheet's rows: nothing silently wrong, nothing half, two at once, and all of it taken back."""

from collections import Counter
from fractions import Fraction

import pytest
from fastapi import FastAPI
from sqlalchemy import func, select
from sqlalchemy.orm import Session, selectinload

from app.errors import ConflictError
from app.models import Ball, Bowler, BowlerWord, Change, Fit, FitHole, SheetRow
from app.schemas.taken_back import TakingBackForm
from app.services import sheet_imports, sheet_inbox, sheet_passes, sheet_undoing
from tests.conftest import not_none
from tests.services.sheets import bring_in, list_all, make_csv, run, take_in, write_row
from tests.sheets.damaged import CSV, load_answers

MADE = (Bowler, Fit, FitHole, Ball, BowlerWord)


def count_made(session: Session) -> list[int]:
    counted = [session.scalar(select(func.count()).select_from(model)) or 0 for model in MADE]
    session.rollback()
    return counted


def read_measures(fit: Fit) -> dict[str, Fraction | None]:
    found = {"middle_in": fit.span_middle_in, "ring_in": fit.span_ring_in, "bridge": fit.bridge_in}
    for digit in ("thumb", "middle", "ring"):
        hole = fit.hole(digit)
        found |= {f"{digit}_hole": hole.hole_in, f"{digit}_forward": hole.forward_in, f"{digit}_right": hole.right_in}
    return found


def test_of_the_damaged_rows_none_comes_in_wrong(app: FastAPI, session: Session, who: str) -> None:
    session.rollback()
    import_id = bring_in(app.state.sessions, int(who), CSV)
    rows = list_all(session, import_id)
    counts = sheet_imports.count_outcomes(session, sheet_imports.get_import(session, import_id))
    answers = load_answers()
    assert sum(counts.values()) == len(answers) >= 200
    fits = {f.id: f for f in session.scalars(select(Fit).options(selectinload(Fit.holes)))}
    outcomes: Counter[tuple[str, str]] = Counter()
    for answer in answers:
        row = rows[answer.row]
        outcomes[answer.outcome, row.outcome] += 1
        if row.outcome != "taken":
            assert row.fit_id is None and row.bowler_id is None
            continue
        assert answer.outcome == "taken", answer
        told = read_measures(fits[not_none(row.fit_id)])
        expected = {name: text for name, text in answer.values.items() if (name in told and "/" in text) or text == "0"}
        wrong = {name: (told[name], text) for name, text in expected.items() if told[name] != Fraction(text)}
        assert wrong == {}, answer
        assert not_none(session.get(Bowler, row.bowler_id)).name == answer.values["name"]
    assert outcomes["taken", "taken"] >= 0.95 * sum(a.outcome == "taken" for a in answers)
    assert {pair for pair in outcomes if pair[0] != pair[1]} == {("taken", "asked")}
    more = [a.row for a in answers if a.outcome == "taken" and rows[a.row].outcome == "asked"]
    assert {q["field"] for number in more for q in rows[number].questions} == {"bowler"}  # namesakes, and nothing else


def test_a_dry_run_makes_nothing_and_says_what_would_come(app: FastAPI, session: Session, who: str) -> None:
    import_id = take_in(session, int(who), make_csv(write_row("Odo Brandt"), write_row("Odo Brandt", note="again")))
    before = count_made(session)
    run(app.state.sessions, import_id, int(who), sheet_passes.start_dry_run)
    assert count_made(session) == before
    rows = list_all(session, import_id)
    assert [rows[n].outcome for n in (2, 3)] == ["taken", "asked"]
    assert rows[3].questions[0]["choices"] == ["row 2", "somebody new"]


def test_each_record_has_history_with_the_import_and_its_measures(app: FastAPI, session: Session, who: str) -> None:
    session.rollback()
    import_id = bring_in(app.state.sessions, int(who), make_csv(write_row("Odo Brandt", "555 1234", ball="Blue,B-1")))
    row = list_all(session, import_id)[2]
    fit = not_none(session.get(Fit, row.fit_id))
    ball = not_none(session.get(Ball, row.ball_id))
    assert (fit.state, fit.reason, fit.span_middle_in) == (
        "in force",
        "sheet cards.csv, row 2, measured 2024-03-08",
        Fraction(35, 8),
    )
    assert f"{fit.created_at:%Y-%m-%d}" == "2024-03-08"
    assert fit.typed["spans"] == "middle 4 3/8, ring 4 1/2"
    assert (ball.label, ball.serial) == ("Blue", "B-1")
    lines = session.execute(select(Change.noun, Change.staff_id, Change.why).where(Change.bowler_id == row.bowler_id))
    assert {tuple(line) for line in lines} == {
        (n, int(who), "sheet cards.csv, row 2") for n in ("bowler", "fit", "ball")
    }
    assert row.cells[3] == ["4 3/8", "text"]


def test_a_pass_that_was_interrupted_goes_on_and_makes_nothing_twice(
    app: FastAPI, session: Session, who: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sheet_passes, "CHUNK", 3)
    import_id = take_in(session, int(who), make_csv(*(write_row(f"Odo {n}") for n in _NAMES)))
    run(app.state.sessions, import_id, int(who), sheet_passes.start_dry_run)
    sheet_passes.start_import(session, int(who), sheet_imports.get_import(session, import_id))
    session.commit()
    sheet_passes.advance(session, import_id)
    session.commit()
    sheet_passes.advance(session, import_id)
    session.rollback()  # killed in the middle of a chunk
    rows = list_all(session, import_id)
    assert [rows[n].bowler_id is not None for n in range(2, 12)] == [True] * 3 + [False] * 7
    session.rollback()
    sheet_passes.run(app.state.sessions, import_id)
    rows = list_all(session, import_id)
    made = [row.bowler_id for row in rows.values() if row.bowler_id]
    assert len(made) == len(set(made)) == 10
    assert session.scalar(select(func.count(Bowler.id)).where(Bowler.name.startswith("Odo "))) == 10


_NAMES = ("Brandt", "Falk", "Grimm", "Hask", "Jarl", "Kvist", "Lund", "Mork", "Nygren", "Oster")


def test_two_people_with_the_same_file_the_second_is_told(session: Session, who: str) -> None:
    data = make_csv(write_row("Odo Brandt"))
    import_id = take_in(session, int(who), data)
    with pytest.raises(
        ConflictError, match=f"Tadeo Birk took this sheet in as cards.csv on .* number {import_id} below"
    ):
        take_in(session, 2, data)
    session.rollback()


def test_two_people_who_begin_one_import_the_second_is_told(app: FastAPI, session: Session, who: str) -> None:
    import_id = take_in(session, int(who), make_csv(write_row("Odo Brandt")))
    run(app.state.sessions, import_id, int(who), sheet_passes.start_dry_run)
    of = sheet_imports.get_import(session, import_id)
    sheet_passes.start_import(session, int(who), of)
    session.flush()
    with pytest.raises(ConflictError, match="“running”"):
        sheet_passes.start_import(session, 2, sheet_imports.get_import(session, import_id))
    session.rollback()


def test_an_import_is_taken_back_whole_but_for_what_was_changed_since(app: FastAPI, session: Session, who: str) -> None:
    before = count_made(session)
    rows = (write_row("Odo Brandt", ball="Blue,B-1"), write_row("Ida Falk"), write_row("Ulf Grimm"))
    import_id = bring_in(app.state.sessions, int(who), make_csv(*rows))
    found = list_all(session, import_id)
    not_none(session.get(Bowler, found[3].bowler_id)).notes = "called about her new ball"
    session.commit()
    with app.state.sessions() as own:
        form = TakingBackForm.read({"who": who, "why": "the wrong file"})
        sheet_passes.start_taking_back(own, sheet_imports.get_import(own, import_id), form)
        own.commit()
    sheet_passes.run(app.state.sessions, import_id)
    session.expire_all()
    found = list_all(session, import_id)
    assert sheet_imports.get_import(session, import_id).state == "taken back"
    people = {n: not_none(session.get(Bowler, row.bowler_id)) for n, row in found.items() if row.bowler_id}
    assert [people[n].removed_at is not None for n in (2, 3, 4)] == [True, False, True]
    assert {not_none(session.get(Fit, found[n].fit_id)).state for n in (2, 3, 4)} == {"discarded"}
    assert not_none(session.get(Ball, found[2].ball_id)).removed_at is not None
    kept = sheet_undoing.list_kept(session, import_id)
    assert [(row.number, row.reason) for row in kept] == [(3, "kept: the record of Ida Falk was changed since")]
    why = select(Change.why).where(
        Change.noun == "bowler", Change.field == "removed_at", Change.noun_id == people[2].id
    )
    assert session.scalar(why) == "the import of cards.csv was taken back"
    session.rollback()
    assert count_made(session)[:4] != before[:4]
    data = make_csv(*rows)
    assert take_in(session, int(who), data) != import_id


def test_what_other_rows_gave_a_bowler_goes_before_the_bowler(app: FastAPI, session: Session, who: str) -> None:
    session.rollback()
    import_id = bring_in(
        app.state.sessions,
        int(who),
        make_csv(write_row("Odo Brandt", ball="Blue,B-1"), write_row("Odo Brandt", ball="Red,B-2")),
    )
    of = sheet_imports.get_import(session, import_id)
    answered = sheet_inbox.answer(session, int(who), of, 3, {"bowler": "row 2"})
    assert (answered.outcome, answered.reason) == ("taken", "fit A says the same")
    session.commit()
    form = TakingBackForm.read({"who": who, "why": "the wrong file"})
    sheet_passes.start_taking_back(session, sheet_imports.get_import(session, import_id), form)
    session.commit()
    sheet_passes.run(app.state.sessions, import_id)
    session.expire_all()
    assert sheet_undoing.list_kept(session, import_id) == []
    row = not_none(session.scalar(select(SheetRow).where(SheetRow.import_id == import_id, SheetRow.number == 2)))
    assert not_none(session.get(Bowler, row.bowler_id)).removed_at is not None
