"""The table of all bowlers that the app writes comes back: exact values, and no reading asked."""

import csv
import io
from collections.abc import Callable
from fractions import Fraction

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session, selectinload

from app.db import open_engine, sessions
from app.models import Fit, InsertSystem
from app.schemas.fits import FitForm
from app.services import bowler_tables, fits
from app.services.sheet_hardware import find_hardware
from app.sheets.columns import guess_columns
from app.sheets.conventions import Conventions
from app.sheets.files import read_file
from app.sheets.needs import list_needed
from app.sheets.own_tables import SAID_OF_OWN
from app.sheets.readings import RowReading
from seed_demo.saturday import fill_saturday
from tests.conftest import not_none
from tests.sheets.reading import read_rows

OF_FIT = (
    "system_id",
    "hand",
    "style",
    "grip_holes",
    "span_edges",
    "span_middle_in",
    "span_ring_in",
    "bridge_in",
    "bridge_edges",
)
OF_HOLE = ("hole_in", "oval_in", "oval_deg", "forward_in", "right_in", "cut_in", "depth_in", "offset_in")
OF_HARDWARE = ("system_id", "lift_in", "lift_deg")


def write_csv(session: Session) -> bytes:
    return bowler_tables.write_csv(bowler_tables.list_rows(session)).encode()


def write_xlsx(session: Session) -> bytes:
    return bowler_tables.write_workbook(bowler_tables.list_rows(session))


def list_values(fit: Fit) -> dict[str, object]:
    holes = {
        f"{h.digit} {name}": getattr(h, name)
        for h in fit.holes
        if h.digit in fit.digits
        for name in (*OF_HOLE, *OF_HARDWARE)
    }
    return {name: getattr(fit, name) for name in OF_FIT} | holes


@pytest.mark.parametrize("write", [write_csv, write_xlsx])
def test_the_table_of_all_bowlers_comes_back_exactly(session: Session, write: Callable[[Session], bytes]) -> None:
    read_back(session, write)


def build(session: Session, row: RowReading) -> Fit:
    told = find_hardware(session, row.beside, {})
    assert told.questions == []
    return fits.build(session, FitForm.read({**row.fit, **told.texts, "reason": "a sheet", "who": "1"}))


def read_back(session: Session, write: Callable[[Session], bytes]) -> None:
    sheet = read_file(write(session))
    rows = list(read_rows(sheet, guess_columns(sheet), Conventions.from_json(SAID_OF_OWN)))
    asked = {row.bowler["name"]: row.questions for row in rows if row.questions}
    assert asked == {}
    in_force = select(Fit).where(Fit.state == "in force").options(selectinload(Fit.holes))
    wrote = session.scalars(in_force.order_by(Fit.bowler_id, Fit.hand.desc())).all()
    made = [build(session, row) for row in rows if row.fit]
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


def read_changed(session: Session, change: Callable[[str, str], str]) -> list[RowReading]:
    """Reads the table after each cell became what `change` makes of its heading and text."""
    table = list(csv.reader(io.StringIO(write_csv(session).decode())))
    out = io.StringIO()
    csv.writer(out, delimiter=";").writerows([table[0], *([*map(change, table[0], row)] for row in table[1:])])
    sheet = read_file(out.getvalue().encode())
    return list(read_rows(sheet, guess_columns(sheet), Conventions.from_json(SAID_OF_OWN)))


def pick_fit(session: Session) -> Fit:
    whole = (Fit.state == "in force", Fit.grip_holes == "three")
    return not_none(session.scalars(select(Fit).where(*whole).options(selectinload(Fit.holes))).first())


def is_exact(head: str) -> bool:
    return head.endswith((" in", " deg"))


def test_decimal_commas_of_a_whole_column_are_points(session: Session) -> None:
    own = read_changed(session, lambda _, text: text)
    rows = read_changed(session, lambda head, text: text.replace(".", ",") if is_exact(head) else text)
    assert [row.questions for row in rows] == [() for _ in own]
    assert [row.fit for row in rows] == [row.fit for row in own]
    assert any("+" in row.fit.get("thumb_hole", "") for row in rows)  # an oval among them


@pytest.mark.parametrize(
    ("head", "text", "asked"),
    [
        ("thumb oval in", "0,0625", "thumb_hole"),
        ("thumb hole in", "2026-01-16", "thumb_hole"),
        ("thumb forward in", "Jan 4", "thumb_pitch"),
        ("bridge in", "1/4/2026", "bridge"),
        ("middle depth in", "#REF!", "middle_depth"),
        ("middle span in", "4..1", "spans"),
        ("middle lift in", "Jan 16", "middle_lift"),
    ],
)
def test_a_cell_that_a_spreadsheet_changed_is_asked(session: Session, head: str, text: str, asked: str) -> None:
    first = pick_fit(session)
    first.bridge_in = first.hole("thumb").oval_in = first.hole("middle").lift_in = Fraction(1, 16)
    first.hole("ring").depth_in = first.hole("middle").depth_in = Fraction(2)
    session.flush()
    rows = read_changed(session, lambda of, own: text if of == head and own not in {"", "0"} else own)
    if text == "0,0625":  # the other cells of its column have points
        rows = read_changed(session, lambda of, own: text if of == head and own == "0.0625" else own or "0.5")
    assert asked in {question.field for row in rows for question in row.questions}


def test_inserts_and_their_lift_come_back_and_others_labels_are_unknown(session: Session) -> None:
    insert = session.scalars(select(InsertSystem).where(InsertSystem.digit == "finger")).first()
    assert insert
    fit = pick_fit(session)
    middle, ring = fit.hole("middle"), fit.hole("ring")
    middle.system_id, middle.lift_in, middle.lift_deg = insert.id, Fraction(1, 32), Fraction(180)
    ring.system_id, ring.lift_in, ring.lift_deg = insert.id, None, None
    insert.lift_in, insert.lift_deg = Fraction(1, 64), Fraction(90)
    for hole in (middle, ring):
        hole.oval_in, hole.oval_deg = insert.oval_in, insert.oval_deg  # as the form stores it
    session.flush()
    session.expire_all()
    for write in (write_csv, write_xlsx):
        read_back(session, write)
    rows = read_changed(session, lambda of, own: "Zyx of others" if of == "middle insert" and own else own)
    named = [find_hardware(session, row.beside, {}).texts for row in rows if row.beside.get("middle_insert")]
    assert {texts["middle_insert"] for texts in named} == {"unknown"}
