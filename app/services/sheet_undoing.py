"""Takes back what an import made, as its records are taken back one by one: marked with the reason, and kept.

What was changed or used since stays, and its row says so.
"""

from collections.abc import Sequence

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.models import AxisPoint, Ball, Bowler, Drilling, Fit, SheetImport, SheetRow, now
from app.services import axis_points, bowler_words, changes, taken_back

TAKEN_BACK, KEPT = "taken back", "kept: "


def take_back(session: Session, of: SheetImport, rows: Sequence[SheetRow]) -> None:
    """Takes back the records of these rows."""
    for row in rows:
        if row.bowler_id:
            kept = _take_back_row(session, of, row)
            row.reason = KEPT + "; ".join(kept) if kept else TAKEN_BACK


def list_kept(session: Session, import_id: int, limit: int = 100) -> Sequence[SheetRow]:
    """Returns the rows of which something stayed."""
    kept = (SheetRow.import_id == import_id, SheetRow.reason.startswith(KEPT))
    return session.scalars(select(SheetRow).where(*kept).order_by(SheetRow.number).limit(limit)).all()


def _take_back_row(session: Session, of: SheetImport, row: SheetRow) -> list[str]:
    """Takes a row's fit, ball and bowler back; returns in words what stays."""
    who, why = of.run_by_id or of.staff_id, f"the import of {of.file_name} was taken back"
    kept = []
    if (fit := session.get(Fit, row.fit_id or 0)) and fit.state != "discarded":
        kept += _find_use_of_fit(session, fit)
        if not kept:
            changes.revise(session, who, fit, {"state": "discarded"}, why)
            fit.discarded_reason = why
    if (ball := session.get(Ball, row.ball_id or 0)) and not ball.removed_at:
        used = _find_use_of_ball(session, ball, row)
        kept += used
        if not used:
            changes.revise(session, who, ball, {"removed_at": now()}, why)
            ball.removed_reason = why
    kept += _take_point_back(session, who, row, why)
    session.flush()
    owner = session.get(Bowler, row.bowler_id or 0)
    if owner is None or owner.erased_at:
        return kept
    if row.made_bowler and not owner.removed_at:
        used = _find_use_of_bowler(session, owner)
        kept += used
        if not used:
            changes.revise(session, who, owner, {"removed_at": now()}, why)
            owner.removed_reason = why
    bowler_words.index_bowler(session, owner)
    return kept


def _take_point_back(session: Session, who: int, row: SheetRow, why: str) -> list[str]:
    """Takes a row's axis point back, or says that a layout was chosen from it."""
    point = session.get(AxisPoint, row.axis_point_id or 0)
    if point is None or point.taken_back_at:
        return []
    if axis_points.list_uses(session, [point])[point.id]:
        return ["a layout was chosen from its axis point"]
    changes.revise(session, who, point, {"taken_back_at": now()}, why)
    point.taken_back_reason = why
    return []


def _find_use_of_fit(session: Session, fit: Fit) -> list[str]:
    drilled = session.scalar(select(func.count()).where(Drilling.fit_id == fit.id))
    revised = session.scalar(select(func.count()).where(Fit.revised_from_id == fit.id, Fit.state != "discarded"))
    if drilled or revised:
        return [f"fit {fit.letter} was {'drilled by' if drilled else 'revised'} since"]
    return [f"fit {fit.letter} was changed since"] if fit.version != 1 else []


def _find_use_of_ball(session: Session, ball: Ball, row: SheetRow) -> list[str]:
    used = taken_back.list_ball_obstacles(session, ball.id)
    if ball.bowler_id != row.bowler_id and not used:
        return [f"{ball.label} went to another bowler since"]
    if used or ball.version != 1:
        return [f"{ball.label} has {', '.join(used)} since" if used else f"{ball.label} was changed since"]
    return []


def _find_use_of_bowler(session: Session, owner: Bowler) -> list[str]:
    used = taken_back.list_bowler_obstacles(session, owner.id, counts_discarded=False)
    if used:
        return [f"{owner.name} has {', '.join(used)}"]
    changed = owner.version != 1 or owner.merged_into_id
    return [f"the record of {owner.name} was changed since"] if changed else []
