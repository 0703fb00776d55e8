"""The table of all bowlers that the app writes comes back: exact values, and no reading asked."""

from collections.abc import Callable

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session, selectinload

from app.db import open_engine, sessions
from app.models import Fit
from app.schemas.fits import FitForm
from app.services import bowler_tables, fits
from app.sheets.columns import guess_columns
from app.sheets.conventions import Conventions
from app.sheets.files import read_file
from app.sheets.needs import list_needed
from app.sheets.own_tables import SAID_OF_OWN
from seed_demo.saturday import fill_saturday
from tests.sheets.reading import read_rows

OF_FIT = ("hand", "style", "grip_holes", "span_edges", "span_middle_in", "span_ring_in", "bridge_in", "bridge_edges")
OF_HOLE = ("hole_in", "oval_in", "oval_deg", "forward_in", "right_in", "cut_in", "depth_in", "offset_in")


def write_csv(session: Session) -> bytes:
    return bowler_tables.write_csv(bowler_tables.list_rows(session)).encode()


def write_xlsx(session: Session) -> bytes:
    return bowler_tables.write_workbook(bowler_tables.list_rows(session))


def list_values(fit: Fit) -> dict[str, object]:
    holes = {f"{h.digit} {name}": getattr(h, name) for h in fit.holes if h.digit in fit.digits for name in OF_HOLE}
    return {name: getattr(fit, name) for name in OF_FIT} | holes


@pytest.mark.parametrize("write", [write_csv, write_xlsx])
def test_the_table_of_all_bowlers_comes_back_exactly(session: Session, write: Callable[[Session], bytes]) -> None:
    read_back(session, write)


def read_back(session: Session, write: Callable[[Session], bytes]) -> None:
    sheet = read_file(write(session))
    rows = list(read_rows(sheet, guess_columns(sheet), Conventions.from_json(SAID_OF_OWN)))
    asked = {row.bowler["name"]: row.questions for row in rows if row.questions}
    assert asked == {}
    in_force = select(Fit).where(Fit.state == "in force").options(selectinload(Fit.holes))
    wrote = session.scalars(in_force.order_by(Fit.bowler_id, Fit.hand.desc())).all()
    made = [fits.build(session, FitForm.read({**row.fit, "reason": "a sheet", "who": "1"})) for row in rows if row.fit]
    for fit, own in zip(made, wrote, strict=True):
        assert list_values(fit) == list_values(own)
    assert len(made) >= 2


@pytest.mark.once
def test_the_demos_whole_table_comes_back(empty_url: str) -> None:
    engine = open_engine(empty_url)
    with sessions(engine)() as session:
        fill_saturday(session)
        for write in (write_csv, write_xlsx):
            read_back(session, write)
    engine.dispose()


def test_nothing_is_asked_of_the_file(session: Session) -> None:
    sheet = read_file(write_csv(session))
    assert {need.name for need in list_needed(sheet, guess_columns(sheet))} <= set(SAID_OF_OWN)
