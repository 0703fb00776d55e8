"""Sheets taken in: their rows as they are, which column is what, their conventions, and habits for the next file.

A file is read before the writers' lock is taken, and its rows are then stored at once: whole, or not at all.
"""

import hashlib
from collections.abc import Sequence

from sqlalchemy import func, insert, select
from sqlalchemy.orm import Session, joinedload

from app.errors import ConflictError, InvalidError, NotFoundError
from app.models import SheetHabit, SheetImport, SheetRow, Staff, now
from app.services import changes
from app.sheets.cells import Sheet
from app.sheets.columns import Columns, guess_columns
from app.sheets.conventions import CHOICES, OF_ONE_FILE, Conventions
from app.sheets.headed import doubt_headings
from app.sheets.needs import list_needed
from app.sheets.oddities import list_oddities
from app.sheets.own_tables import SAID_OF_OWN, is_put_together
from app.sheets.parts import tidy

TAKEN_BACK = "taken back"
_CHANGEABLE = {"looked at", "tried"}
_WHOLE = (joinedload(SheetImport.staff), joinedload(SheetImport.run_by))


def get_import(session: Session, import_id: int) -> SheetImport:
    """Returns an import with the people of it; raises NotFoundError."""
    found = session.scalar(select(SheetImport).where(SheetImport.id == import_id).options(*_WHOLE))
    if found is None:
        raise NotFoundError("There is no such import.")
    return found


def list_imports(session: Session) -> Sequence[SheetImport]:
    """Returns the last imports, newest first."""
    return session.scalars(select(SheetImport).options(*_WHOLE).order_by(SheetImport.id.desc()).limit(100)).all()


def count_outcomes(session: Session, of: SheetImport) -> dict[str, int]:
    """Returns how many rows were taken, asked and refused, and under "" how many no pass has read yet."""
    counted = select(SheetRow.outcome, func.count()).where(SheetRow.import_id == of.id).group_by(SheetRow.outcome)
    found = {outcome: count for outcome, count in session.execute(counted)}
    read = {name: found.get(name, 0) for name in ("taken", "asked", "refused")}
    return read | {"": of.rows - sum(read.values())}


def name_file(data: bytes, sheet: str) -> str:
    """Returns the hash by which the same sheet of the same file is known again."""
    return hashlib.sha256(data + b"\0" + sheet.encode()).hexdigest()


def find_same(session: Session, file_hash: str) -> SheetImport | None:
    """Returns the import of the same sheet, unless it was taken back."""
    same = (SheetImport.file_hash == file_hash, SheetImport.state != TAKEN_BACK)
    return session.scalar(select(SheetImport).where(*same).options(*_WHOLE).limit(1))


def require_new(session: Session, file_hash: str) -> None:
    """Raises ConflictError, naming who and when, for a sheet that somebody took in already."""
    same = find_same(session, file_hash)
    if same:
        raise ConflictError(
            f"{same.staff.name} took this sheet in as {same.file_name} on {same.at:%Y-%m-%d %H:%M} UTC: it is number "
            f"{same.id} below, {same.state}. Go on with that one, or take it back first."
        )


def take_in(session: Session, who: int, named: tuple[str, str], read: Sheet, habit: str = "") -> SheetImport:
    """Stores a sheet, `named` by its file and hash, with the columns guessed or those of a habit.

    Raises ConflictError as `require_new`, InvalidError for a habit that there is not.
    """
    file_name, file_hash = named
    require_new(session, file_hash)
    columns, is_own = guess_columns(read), is_put_together(read.rows[0])
    kept = _find_habit(session, habit) if habit else None
    if kept:
        columns = _apply_habit(columns, kept)
    columns = doubt_headings(read, columns)
    rows = [
        {
            "number": number,
            "cells": [[cell.text, cell.kind] for cell in row],
            "is_hidden": number - 1 in (read.hidden_rows or ()),
        }
        for number, row in enumerate(read.rows, 1)
        if any(tidy(cell.text) for cell in row) or any(cell.kind == "error" for cell in row)
    ]
    made = SheetImport(
        file_name=tidy(file_name)[:120] or "a sheet",
        file_hash=file_hash,
        sheet=read.name[:120],
        sheets=list(read.names),
        told=[*read.told, *columns.doubts, *list_oddities(read, columns.first_row)],
        columns=columns.to_json(),
        conventions=dict(kept.conventions) if kept else dict(SAID_OF_OWN) if is_own else {},
        needs=_write_needs(read, columns),
        confirmed_by_id=kept.staff_id if kept else None,
        state="looked at",
        rows=sum(int(str(row["number"])) > columns.first_row for row in rows),
        staff_id=who,
    )
    changes.add_record(session, who, made, f"{made.file_name}, {made.rows} rows")
    session.execute(insert(SheetRow), [row | {"import_id": made.id} for row in rows])
    return made


def _write_needs(read: Sheet, columns: Columns) -> list[dict[str, object]]:
    return [
        {"name": n.name, "question": n.question, "choices": [list(c) for c in n.choices], "examples": list(n.examples)}
        for n in list_needed(read, columns)
    ]


def _require_changeable(of: SheetImport) -> None:
    if of.state not in _CHANGEABLE:
        raise ConflictError(
            f"This import is {of.state}: its columns and conventions stand. Take it back to change them."
        )


# Columns and conventions ----------------------------------------------------------------------------------------------


def read_columns(of: SheetImport) -> Columns:
    return Columns.from_json(of.columns)


def read_conventions(of: SheetImport) -> Conventions:
    return Conventions.from_json(of.conventions)


def choose_columns(of: SheetImport, chosen: dict[int, str]) -> Columns:
    """Returns an import's columns with these fields by index; raises InvalidError for a field that there is not."""
    columns = read_columns(of)
    try:
        for index, field in chosen.items():
            if any(c.index == index and c.field != field for c in columns.columns):
                columns = columns.change(index, field)
    except ValueError:
        raise InvalidError("That is nothing a column can be. Choose from the list.") from None
    if not columns.fields & {"name", "first_name", "last_name"}:
        raise InvalidError("No column has the name. Choose which one it is.")
    return columns


def set_columns(session: Session, who: int, of: SheetImport, columns: Columns, read: Sheet) -> None:
    """Stores what each column is, and which conventions that needs; rows have to be read anew."""
    _require_changeable(of)
    columns = doubt_headings(read, columns)
    before = {c.heading: c.field for c in read_columns(of).columns}
    told = ", ".join(
        f"{c.heading}: {c.field or 'left out'}" for c in columns.columns if before.get(c.heading) != c.field
    )
    changes.note(session, who, of, changes.Entry("columns", "", told or "as they were"))
    of.columns, of.needs = columns.to_json(), _write_needs(read, columns)
    of.conventions = _drop_of_one_file(of.conventions)
    _read_anew(of)


def set_conventions(session: Session, who: int, of: SheetImport, said: dict[str, str]) -> None:
    """Stores what a person said of the file: empty is not said. Raises InvalidError for what is no choice."""
    _require_changeable(of)
    wrong = next((n for n, value in said.items() if n not in CHOICES or (value and value not in CHOICES[n])), None)
    if wrong:
        raise InvalidError.at(wrong, "Choose one of these.")
    kept = of.conventions | said
    words = "; ".join(f"{name.replace('_', ' ')}: {CHOICES[name][value]}" for name, value in kept.items() if value)
    changes.note(session, who, of, changes.Entry("conventions", "", words or "none said"))
    of.conventions, of.confirmed_by_id = kept, who
    _read_anew(of)


def _read_anew(of: SheetImport) -> None:
    of.state, of.usual, of.done_to = "looked at", {}, 0
    of.version += 1


# Habits ---------------------------------------------------------------------------------------------------------------


def list_habits(session: Session) -> Sequence[SheetHabit]:
    return session.scalars(select(SheetHabit).order_by(SheetHabit.name)).all()


def _find_habit(session: Session, name: str) -> SheetHabit:
    found = session.scalar(select(SheetHabit).where(SheetHabit.name == name))
    if found is None:
        known = ", ".join(h.name for h in list_habits(session)) or "none yet"
        raise InvalidError.at("habit", f"No way of writing is saved under that name. There are: {known}.")
    return found


def _apply_habit(columns: Columns, kept: SheetHabit) -> Columns:
    for column in columns.columns:
        field = kept.columns.get(tidy(column.heading).lower())
        if field is not None:
            columns = columns.change(column.index, field)
    return columns


def save_habit(session: Session, who: int, of: SheetImport, name: str) -> SheetHabit:
    """Saves an import's columns and conventions under a name, in the place of what had it."""
    columns = {tidy(c.heading).lower(): c.field for c in read_columns(of).columns}
    found = session.scalar(select(SheetHabit).where(SheetHabit.name == name))
    if found is None:
        found = SheetHabit(name=name, columns=columns, conventions=_drop_of_one_file(of.conventions), staff_id=who)
        changes.add_record(session, who, found, f"{name}, from {of.file_name}")
        return found
    changes.note(session, who, found, changes.Entry("columns", "", f"as in {of.file_name}"))
    found.columns, found.conventions = columns, _drop_of_one_file(of.conventions)
    found.staff_id, found.at = who, now()
    return found


def _drop_of_one_file(said: dict[str, str]) -> dict[str, str]:
    return {name: value for name, value in said.items() if name not in OF_ONE_FILE}


def find_first_owner(session: Session) -> Staff | None:
    """Returns the owner who acts where nobody is signed in: at the terminal."""
    owners = select(Staff).where(Staff.role == "owner", Staff.is_active.is_(True)).order_by(Staff.id).limit(1)
    return session.scalar(owners)
