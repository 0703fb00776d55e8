"""What an import made is taken back record by record; what was changed or used since stays, and its row says so."""

import pytest
from fastapi import FastAPI
from sqlalchemy.orm import Session

from app.models import Ball, Base, Bowler, Fit, SheetRow
from app.services import sheet_imports, sheet_undoing
from tests.conftest import not_none
from tests.services.sheets import bring_in, list_all, make_csv, write_row


def bring_one(app: FastAPI, session: Session, who: str) -> tuple[int, SheetRow, dict[type[Base], Base]]:
    session.rollback()
    import_id = bring_in(app.state.sessions, int(who), make_csv(write_row("Odo Brandt", ball="Blue,B-1")))
    row = list_all(session, import_id)[2]
    named: dict[type[Base], int | None] = {Fit: row.fit_id, Ball: row.ball_id, Bowler: row.bowler_id}
    made = {of: not_none(session.get(of, number)) for of, number in named.items()}
    return import_id, row, made


@pytest.mark.parametrize(
    ("changed", "kept", "gone"),
    [
        (None, "taken back", {Fit, Ball, Bowler}),
        (Fit, "kept: fit A was changed since; Odo Brandt has 1 fit", {Ball}),
        (Ball, "kept: Blue was changed since; Odo Brandt has 1 ball", {Fit}),
        (Bowler, "kept: the record of Odo Brandt was changed since", {Fit, Ball}),
    ],
)
def test_a_record_changed_once_since_stays(
    app: FastAPI, session: Session, who: str, changed: type[Base] | None, kept: str, gone: set[type[Base]]
) -> None:
    import_id, row, made = bring_one(app, session, who)
    if changed:
        made[changed].version += 1  # type: ignore[attr-defined]
        session.flush()
    sheet_undoing.take_back(session, sheet_imports.get_import(session, import_id), [row])
    session.flush()
    fit, ball, bowler = made[Fit], made[Ball], made[Bowler]
    assert isinstance(fit, Fit)
    assert isinstance(ball, Ball)
    assert isinstance(bowler, Bowler)
    out = {Fit: fit.state == "discarded", Ball: bool(ball.removed_at), Bowler: bool(bowler.removed_at)}
    assert {of for of, is_out in out.items() if is_out} == gone
    assert row.reason == kept
    assert [one.number for one in sheet_undoing.list_kept(session, import_id)] == ([2] if changed else [])
