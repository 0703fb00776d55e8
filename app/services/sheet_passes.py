"""Passes over the rows of an import: dry run, import, taking back. Each goes on by itself, and can be interrupted.

A pass takes a chunk of rows in a transaction and notes how far it has come. Killed at any point it has done whole
chunks and no half row, and goes on from there; between two chunks other writers come in. Two processes that work at one
pass take turns at its chunks, because each reads how far the pass is under the writers' lock.
"""

import time
from collections.abc import Callable

from sqlalchemy import func, select
from sqlalchemy.orm import Session, sessionmaker

from app.db import READ_ONLY
from app.errors import ConflictError
from app.models import SheetImport, SheetRow, now
from app.schemas.taken_back import TakingBackForm
from app.services import changes, sheet_imports, sheet_records, sheet_rows, sheet_undoing

ENDS = {"trying": "tried", "running": "done", "taking back": "taken back"}
CHUNK = 25  # rows in a transaction: a writer at the counter waits for one chunk at most


def start_dry_run(session: Session, who: int, of: SheetImport) -> None:
    """Begins to read every row without making a record; raises ConflictError once the import has begun."""
    _start(session, who, of, "trying", {"looked at", "tried"})


def start_import(session: Session, who: int, of: SheetImport) -> None:
    """Begins to take the rows in; raises ConflictError, naming who, if somebody has begun already."""
    _start(session, who, of, "running", {"tried"})


def start_taking_back(session: Session, of: SheetImport, form: TakingBackForm) -> None:
    """Begins to take back what the import made; raises ConflictError if that has begun already."""
    _start(session, form.who, of, "taking back", {"looked at", "trying", "tried", "running", "done"}, form.why)


def _start(session: Session, who: int, of: SheetImport, state: str, after: set[str], why: str = "") -> None:
    if of.state not in after:
        by = f" by {of.run_by.name} since {of.run_at:%Y-%m-%d %H:%M} UTC" if of.run_by and of.run_at else ""
        raise ConflictError(f"This import is “{of.state}”{by}. Nothing was begun a second time.")
    changes.revise(session, who, of, {"state": state}, why)
    of.run_by_id, of.run_at, of.ended_at, of.done_to = who, now(), None, 0


def advance(session: Session, import_id: int) -> bool:
    """Does the next chunk of an import's pass; returns whether the pass goes on. The caller commits."""
    of = sheet_imports.get_import(session, import_id)
    if of.state not in ENDS:
        return False
    session.info["shop_id"] = of.made_by_shop_id
    is_back = of.state == "taking back"  # from the end, so that a bowler goes after what other rows gave that bowler
    rows = sheet_rows.list_back(session, of, CHUNK) if is_back else sheet_rows.list_rows(session, of, of.done_to, CHUNK)
    if not rows:
        _end(session, of)
        return False
    if is_back:
        sheet_undoing.take_back(session, of, rows)
    else:
        above = sheet_rows.find_above(session, of, rows[0].number)
        read = sheet_rows.read_rows(sheet_rows.open_reader(of), rows, above)
        judged = sheet_records.judge(session, of, [stored for stored in read if not stored.row.bowler_id])
        sheet_records.write_outcomes(judged)
        if of.state == "running":
            sheet_records.store(session, of, judged)
    of.done_to = rows[-1].number
    return True


def _end(session: Session, of: SheetImport) -> None:
    counts = sheet_imports.count_outcomes(session, of)
    words = ", ".join(f"{count} {name}" for name, count in counts.items() if name)
    ended = ENDS[of.state]
    changes.revise(session, of.run_by_id or of.staff_id, of, {"state": ended}, words)
    of.ended_at = now()


def count_done(session: Session, of: SheetImport) -> int:
    """Returns how many rows the present pass has gone over."""
    gone = SheetRow.number >= of.done_to if of.state == "taking back" else SheetRow.number <= of.done_to
    counted = select(func.count()).where(SheetRow.import_id == of.id, gone)
    return min(of.rows, session.scalar(counted) or 0) if of.done_to else 0


def run(
    sessions: sessionmaker[Session], import_id: int, rests: bool = False, is_over: Callable[[], bool] = lambda: False
) -> None:
    """Runs an import's pass to its end, or until `is_over`, between two chunks.

    Who `rests` leaves others as much time after each chunk as it took.
    """
    _prepare(sessions, import_id)
    while not is_over():
        begun = time.perf_counter()
        with sessions() as session:
            goes_on = advance(session, import_id)
            session.commit()
        if not goes_on:
            return
        if rests:
            time.sleep(time.perf_counter() - begun)


def _prepare(sessions: sessionmaker[Session], import_id: int) -> None:
    """Finds what nearly every row does, before the writers' lock is taken: it takes seconds for the largest sheets."""
    with sessions() as session:
        session.connection(execution_options=READ_ONLY)
        of = sheet_imports.get_import(session, import_id)
        if of.state not in {"trying", "running"} or of.usual:
            return
        found, version = sheet_rows.find_usual(session, of), of.version
    with sessions() as session:
        of = sheet_imports.get_import(session, import_id)
        if of.version == version:
            of.usual = found
        session.commit()
