"""Takes a spreadsheet in from the terminal: every step that the pages have, one after the other."""

from dataclasses import dataclass
from pathlib import Path

from sqlalchemy.orm import Session, sessionmaker

from app.db import READ_ONLY, open_engine, sessions
from app.errors import InvalidError
from app.models import SheetImport
from app.services import sheet_imports, sheet_passes
from app.sheets.cells import MOST_BYTES
from app.sheets.files import read_file


@dataclass(frozen=True)
class SheetChoices:
    """The sheet of a workbook, empty for the first; a habit, empty for guesses; and whether nothing is to be made."""

    sheet: str = ""
    habit: str = ""
    is_dry: bool = False


@dataclass(frozen=True)
class SheetResult:
    """What came of a file, in words; it is whole if every row was taken."""

    words: str
    is_whole: bool


def import_file(url: str, file: Path, choices: SheetChoices) -> SheetResult:
    """Takes a file into the database at this address, or goes on with one that is there already; raises InvalidError.

    Without a habit nobody has confirmed its conventions: every fit comes in as a draft, and what needs one is asked.
    """
    if file.stat().st_size > MOST_BYTES:
        raise InvalidError(f"That file is larger than {MOST_BYTES // 1_000_000} MB. Part it into several.")
    engine = open_engine(url)
    try:
        return _import(sessions(engine), (file.name, file.read_bytes()), choices)
    finally:
        engine.dispose()


def _import(made: sessionmaker[Session], named: tuple[str, bytes], choices: SheetChoices) -> SheetResult:
    import_id, who = _find_or_take_in(made, named, choices)
    sheet_passes.run(made, import_id)  # what was interrupted, if anything
    for start, state in ((sheet_passes.start_dry_run, "looked at"), (sheet_passes.start_import, "tried")):
        with made() as session:
            of = sheet_imports.get_import(session, import_id)
            if of.state == state and not (choices.is_dry and state == "tried"):
                start(session, who, of)
            session.commit()
        sheet_passes.run(made, import_id)
    return _tell(made, import_id)


def _find_or_take_in(made: sessionmaker[Session], named: tuple[str, bytes], choices: SheetChoices) -> tuple[int, int]:
    """Returns the ids of the import and of the owner in whose name it runs."""
    file_hash = sheet_imports.name_file(named[1], choices.sheet)
    with made() as session:
        session.connection(execution_options=READ_ONLY)
        same, owner = sheet_imports.find_same(session, file_hash), sheet_imports.find_first_owner(session)
    if owner is None:
        raise InvalidError("This shop has no owner yet: run “spanbook owner” first.")
    if same:
        return same.id, owner.id
    read = read_file(named[1], choices.sheet)
    with made() as session:
        session.info["shop_id"] = owner.shop_id
        taken = sheet_imports.take_in(session, owner.id, (named[0], file_hash), read, choices.habit)
        session.commit()
        return taken.id, owner.id


def _tell(made: sessionmaker[Session], import_id: int) -> SheetResult:
    with made() as session:
        session.connection(execution_options=READ_ONLY)
        of: SheetImport = sheet_imports.get_import(session, import_id)
        counts = sheet_imports.count_outcomes(session, of)
    words = (
        f"{of.file_name}, {of.state}: {counts['taken']} taken, {counts['asked']} asked, {counts['refused']} refused."
    )
    more = " Answer what is asked at /moving-in." if counts["asked"] and of.state == "done" else ""
    return SheetResult(words + more, counts["taken"] == of.rows)
