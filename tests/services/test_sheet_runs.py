"""A pass in a process beside the server: it waits for whoever begins it, is ended with the server, and goes on."""

import os
import subprocess
import sys
import time

import pytest
from fastapi import FastAPI
from sqlalchemy import event, func, select
from sqlalchemy.orm import Session

from app.db import open_engine, sessions
from app.models import Fit, SheetImport, SheetRow
from app.services import sheet_imports, sheet_passes
from app.services.sheet_runs import NO_ROOM, SheetRuns, go_on
from tests.conftest import Client
from tests.services.sheets import make_csv, take_in, write_row
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
    import_id = begin_import(session, int(who))
    first, second = SheetRuns(app.state.settings.url), SheetRuns(app.state.settings.url)
    first.start(import_id)
    while first.is_running(import_id) and not count_made(session):
        time.sleep(0.01)
    first.stop()
    before = count_made(session)
    assert 0 < before < BOWLERS - TROUBLES
    second.resume(app.state.sessions)
    second.wait(import_id)
    assert count_made(session) == BOWLERS - TROUBLES


def begin_import(session: Session, who: int) -> int:
    """The large sheet, its import begun as after a dry run, which would read the rows as the import does."""
    import_id = take_in(session, who, make_sheet())
    of = sheet_imports.get_import(session, import_id)
    of.state = "tried"
    sheet_passes.start_import(session, who, of)
    session.commit()
    return import_id


def count_made(session: Session) -> int:
    session.rollback()
    found = session.scalar(select(func.count(SheetRow.id)).where(SheetRow.made_bowler.is_(True))) or 0
    session.rollback()
    return found


@pytest.mark.once
def test_a_pass_whose_server_is_gone_ends_after_its_chunk(app: FastAPI, session: Session, who: str) -> None:
    session.rollback()
    made = app.state.sessions
    with made() as begun:
        import_id = take_in(begun, int(who), make_csv(*(write_row(f"Person {chr(97 + n)}x") for n in range(26))))
        sheet_passes.start_dry_run(begun, int(who), sheet_imports.get_import(begun, import_id))
        begun.commit()
    told = iter([False, True])
    assert go_on(made, import_id, lambda: next(told)) == 0
    of = sheet_imports.get_import(session, import_id)
    assert (of.state, of.done_to) == ("trying", 1 + sheet_passes.CHUNK)
    session.rollback()
    environment = os.environ | {"SPANBOOK_DATABASE_URL": app.state.sheet_runs.url}
    command = [sys.executable, "-m", "app.services.sheet_runs", str(import_id)]
    for server, state in ((1 + os.getpid(), "trying"), (os.getpid(), "tried")):
        subprocess.run([*command, str(server)], env=environment, check=True, timeout=60)
        session.expire_all()
        assert sheet_imports.get_import(session, import_id).state == state
        session.rollback()


@pytest.mark.once
def test_a_pass_without_room_says_so_and_goes_on_once_there_is_some(
    app: FastAPI, session: Session, client: Client, who: str
) -> None:
    """SQLite answers at its largest number of pages as on a full disk: SQLITE_FULL, sqlite.org/rescode.html."""
    import_id = begin_import(session, int(who))
    pages = session.connection().exec_driver_sql("PRAGMA page_count").scalar_one()
    session.rollback()
    small = open_engine(app.state.settings.url)
    event.listen(small, "connect", lambda own, _: own.execute(f"PRAGMA max_page_count = {pages + 20}"))
    assert go_on(sessions(small), import_id) == NO_ROOM
    small.dispose()
    before = count_made(session)
    assert 0 < before < BOWLERS - TROUBLES
    assert before == session.scalar(select(func.count(Fit.id)).where(Fit.reason.startswith("sheet ")))
    session.rollback()
    app.state.sheet_runs.processes[import_id] = [subprocess.Popen([sys.executable, "-c", f"exit({NO_ROOM})"])]
    app.state.sheet_runs.wait(import_id)
    page = client.get(f"/moving-in/{import_id}").text
    assert "The disk is full. Make room, then go on" in page and "/going-on" in page
    assert go_on(app.state.sessions, import_id) == 0
    assert count_made(session) == BOWLERS - TROUBLES
