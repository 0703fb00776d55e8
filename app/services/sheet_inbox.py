"""The inbox of an import: rows that ask something, answered one by one. An answered row is taken in at once."""

from collections.abc import Collection, Mapping

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.errors import ConflictError
from app.models import SheetImport, SheetRow, now
from app.services import changes, sheet_records, sheet_rows
from app.services.sheet_records import ROW


def find_next(
    session: Session, of: SheetImport, after: int = 0, others: Collection[int] = frozenset()
) -> SheetRow | None:
    """Returns the next row that asks something, from the top again after the last.

    A row that somebody else has open comes only if no other is left.
    """
    asked = select(SheetRow).where(SheetRow.import_id == of.id, SheetRow.outcome == "asked").order_by(SheetRow.number)
    is_free, is_below = SheetRow.number.not_in(others), SheetRow.number > after
    tried = ((is_free, is_below), (is_free,), (is_below,), ())
    found = (session.scalar(asked.where(*wanted).limit(1)) for wanted in tried)
    return next((row for row in found if row), None)


def count_asked(session: Session, of: SheetImport) -> int:
    asked = select(func.count()).where(SheetRow.import_id == of.id, SheetRow.outcome == "asked")
    return session.scalar(asked) or 0


def answer(session: Session, who: int, of: SheetImport, number: int, said: Mapping[str, str]) -> SheetRow:
    """Keeps the answers to a row's questions by field, and takes the row in if nothing is left to ask.

    Raises ConflictError unless the import is done and the row still asks.
    """
    row = _require_asked(session, of, number)
    row.answers = row.answers | dict(said)
    row.answered_by_id, row.answered_at = who, now()
    judged = sheet_records.judge(session, of, [sheet_rows.read_one(session, of, row)])
    sheet_records.write_outcomes(judged)
    sheet_records.store(session, of, judged)
    told = "; ".join(f"{name}: {text or 'left empty'}" for name, text in said.items())
    changes.note(session, who, row, changes.Entry("answers", "", told), row.bowler_id, is_addition=True)
    return row


def leave_out(session: Session, who: int, of: SheetImport, number: int) -> SheetRow:
    """Refuses a row by hand."""
    row = _require_asked(session, of, number)
    row.answers = row.answers | {ROW: sheet_records.LEFT_OUT}
    row.outcome, row.reason, row.questions = "refused", sheet_records.LEFT_OUT, []
    row.answered_by_id, row.answered_at = who, now()
    changes.note(session, who, row, changes.Entry("outcome", "asked", "refused", sheet_records.LEFT_OUT))
    return row


def _require_asked(session: Session, of: SheetImport, number: int) -> SheetRow:
    if of.state != "done":
        raise ConflictError(f"Rows are answered once the import is done, and this one is {of.state}.")
    row = sheet_rows.get_row(session, of, number)
    if row.outcome != "asked":
        raise ConflictError(f"Row {number} is {row.outcome} already: somebody else has answered it.")
    return row
