"""Takes an erased person out of sheets: own rows, rows of nobody yet that name the person, choices, names of files."""

from collections.abc import Sequence
from typing import NamedTuple, cast

from sqlalchemy import func, or_, select, update
from sqlalchemy.orm import Session

from app.models import Bowler, Change, Fit, SheetImport, SheetRow
from app.services import bowler_words
from app.services.sheet_doubts import is_alike
from app.services.sheet_rows import make_name_key
from app.sheets.columns import Columns

NAMELESS = "a sheet"
_LOADED_AT_ONCE = 2_000
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


class Mention(NamedTuple):
    """A row of somebody else in which a person's name stands."""

    import_id: int
    number: int
    file_name: str
    bowler_id: int | None
    text: str


def list_mentions(session: Session, bowler_ids: Sequence[int], limit: int = 50) -> list[Mention]:
    """Returns rows of others that name a person in full, as a remark does: erasing leaves them to be looked at."""
    names = session.scalars(select(Bowler.name).where(Bowler.id.in_(bowler_ids)))
    wanted = [words for name in names if len(words := set(bowler_words.fold_words(name))) > 1]
    others = or_(SheetRow.bowler_id.is_(None), SheetRow.bowler_id.not_in(bowler_ids))
    told = select(SheetRow.id, SheetRow.cells, SheetRow.import_id, SheetRow.number, SheetRow.bowler_id).where(others)
    shortest = min((sum(map(len, words)) for words in wanted), default=0)  # of a cell that can hold a whole name
    files = {of_id: name for of_id, name in session.execute(select(SheetImport.id, SheetImport.file_name))}
    found: list[Mention] = []
    last = 0
    while wanted and len(found) < limit:
        rows = session.execute(told.where(SheetRow.id > last).order_by(SheetRow.id).limit(_LOADED_AT_ONCE)).all()
        if not rows:
            break
        last = rows[-1].id
        for _, cells, import_id, number, bowler_id in rows:
            long = (text for text, _ in cells if len(text) > shortest)
            naming = next((t for t in long if any(words <= set(bowler_words.fold_words(t)) for words in wanted)), "")
            if naming:
                found.append(Mention(import_id, number, files[import_id], bowler_id, naming[:200]))
    return found[:limit]


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
