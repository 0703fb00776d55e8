"""Takes an erased person out of sheets: own rows, rows of nobody yet that name the person, choices, names of files."""

from collections.abc import Sequence
from typing import cast

from sqlalchemy import func, select, update
from sqlalchemy.orm import Session

from app.models import Bowler, Change, Fit, SheetImport, SheetRow
from app.services import bowler_words
from app.services.sheet_doubts import is_alike
from app.services.sheet_rows import make_name_key
from app.sheets.columns import Columns

NAMELESS = "a sheet"
_NAMES = ("name", "first_name", "last_name")
_EMPTY = {"cells": [], "questions": [], "answers": {}, "name_key": "", "reason": ""}
_UNSYNCHRONIZED = {"synchronize_session": False}


def erase_from_sheets(session: Session, bowler_ids: Sequence[int]) -> None:
    """Empties the rows of a person, and those of nobody yet that are named nearly so, as the look-up would ask.

    Other rows lose the choice of the person alone: a family shares its phone.
    """
    names = [name for name in session.scalars(select(Bowler.name).where(Bowler.id.in_(bowler_ids))) if name]
    own = session.scalars(select(SheetRow.id).where(SheetRow.bowler_id.in_(bowler_ids)))
    emptied = [*own, *_find_alike(session, names)]
    for at in range(0, len(emptied), 500):
        ids = emptied[at : at + 500]
        session.execute(update(SheetRow).where(SheetRow.id.in_(ids)).values(_EMPTY), execution_options=_UNSYNCHRONIZED)
        told = update(Change).where(Change.noun == "sheet_row", Change.noun_id.in_(ids))
        session.execute(told.values(old="", new="", why=""), execution_options=_UNSYNCHRONIZED)
    session.expire_all()
    _drop_choices(session, {f"no. {number}" for number in bowler_ids})
    for of in session.scalars(select(SheetImport)):
        _rename(session, of, names)


def _find_alike(session: Session, names: Sequence[str]) -> list[int]:
    """Returns the rows of nobody yet that are named nearly so; a row that no pass has read, by its cells."""
    columns = {of.id: Columns.from_json(of.columns) for of in session.scalars(select(SheetImport))}
    nobodys = select(SheetRow.id, SheetRow.import_id, SheetRow.name_key, SheetRow.cells)
    found = []
    for row_id, import_id, key, cells in session.execute(nobodys.where(SheetRow.bowler_id.is_(None))):
        of_name = [c.index for name in _NAMES for c in columns[import_id].list_of(name)]
        told = key or make_name_key(" ".join(cells[index][0] for index in of_name if index < len(cells)))
        if told and any(is_alike(told, name) for name in names):
            found.append(row_id)
    return found


def _drop_choices(session: Session, gone: set[str]) -> None:
    for row in session.scalars(select(SheetRow).where(SheetRow.outcome == "asked", SheetRow.bowler_id.is_(None))):
        listed = [cast(list[str], q["choices"]) for q in row.questions]
        if any(gone & set(choices) for choices in listed):
            kept = [[c for c in choices if c not in gone] for choices in listed]
            row.questions = [q | {"choices": left} for q, left in zip(row.questions, kept, strict=True)]


def _rename(session: Session, of: SheetImport, names: Sequence[str]) -> None:
    """Takes the name of a file, or of a sheet in it, that names the person out of the import and of every reason."""
    wanted = [set(bowler_words.fold_words(name)) for name in names]

    def tells(text: str) -> bool:
        words = set(bowler_words.fold_words(text.replace("_", " ")))
        return any(name and name <= words for name in wanted)

    of.sheet, of.sheets = "" if tells(of.sheet) else of.sheet, [s for s in of.sheets if not tells(s)]
    if not tells(of.file_name):
        return
    old, of.file_name = of.file_name, NAMELESS
    for column in (Change.old, Change.new, Change.why, Fit.reason):
        holding = update(column.class_).where(column.contains(old, autoescape=True))
        session.execute(
            holding.values({column: func.replace(column, old, NAMELESS)}), execution_options=_UNSYNCHRONIZED
        )
