"""A pass in a process beside the server: it waits for whoever begins it, is ended with the server, and goes on."""

from fastapi import FastAPI
from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.models import SheetImport, SheetRow
from app.services import sheet_imports, sheet_passes
from app.services.sheet_runs import SheetRuns
from tests.services.sheets import make_csv, run, take_in, write_row
from tests.sheets.moved_shop import BOWLERS, TROUBLES, make_sheet


def test_a_pass_waits_for_the_commit_that_begins_it(app: FastAPI, session: Session, who: str) -> None:
    import_id = take_in(session, int(who), make_csv(write_row("Odo Brandt")))
    sheet_passes.start_dry_run(session, int(who), sheet_imports.get_import(session, import_id))
    session.flush()
    runs: SheetRuns = app.state.sheet_runs
    runs.start(import_id)
    assert runs.is_running(import_id)
    session.commit()
    runs.wait(import_id)
    assert session.scalar(select(SheetImport.state).where(SheetImport.id == import_id)) == "tried"


def test_a_pass_that_was_ended_with_the_server_goes_on_with_the_next(app: FastAPI, session: Session, who: str) -> None:
    import_id = take_in(session, int(who), make_sheet())
    run(app.state.sessions, import_id, int(who), sheet_passes.start_dry_run)
    sheet_passes.start_import(session, int(who), sheet_imports.get_import(session, import_id))
    session.commit()
    first, second = SheetRuns(app.state.settings.url), SheetRuns(app.state.settings.url)
    first.start(import_id)
    while first.is_running(import_id) and not count_made(session):
        pass
    first.stop()
    before = count_made(session)
    assert 0 < before < BOWLERS - TROUBLES
    second.resume(app.state.sessions)
    second.wait(import_id)
    assert count_made(session) == BOWLERS - TROUBLES


def count_made(session: Session) -> int:
    session.rollback()
    found = session.scalar(select(func.count(SheetRow.id)).where(SheetRow.made_bowler.is_(True))) or 0
    session.rollback()
    return found
