"""The whole shop of the demo's Saturday goes out and comes back row by row, by lines and by a backup, table by table."""

from pathlib import Path

import pytest
from sqlalchemy import select, update
from sqlalchemy.orm import Session

from app.db import open_engine, sessions
from app.models import NEVER_EXPORTED, Base, DrillingStep, Part, TicketWait, now
from app.schemas.cards import IssueForm
from app.schemas.floor import FloorForm
from app.services import backups, card_issues, floor, rebuilds, restores
from seed_demo.saturday import fill_saturday
from tests.conftest import Databases, not_none
from tests.services.cards import open_made, take
from tests.services.test_floor import FORM

OF_SIGNED_IN = {"api_token", "attempt", "sent_form", "sign_in", "tick_pass"}  # nobody is signed in here
Rows = dict[str, list[tuple[object, ...]]]


def read_rows(url: str) -> Rows:
    """Every row of every table as the database has it, read past the code that exports."""
    engine = open_engine(url)
    with engine.connect() as connection:
        found = {
            table.name: [tuple(row) for row in connection.execute(select(table).order_by(*table.primary_key.columns))]
            for table in Base.metadata.sorted_tables
            if table.name not in NEVER_EXPORTED
        }
    engine.dispose()
    return found


def add_what_is_missing(session: Session) -> None:
    """What nobody did yet on the demo's Saturday: the shop's own minutes, an ended wait for a part, a lot chosen."""
    floor.save(session, FloorForm.read(FORM | {"who": "1"}))
    wait = not_none(session.scalar(select(TicketWait).where(TicketWait.kind == "part")))
    part = not_none(session.scalar(select(Part).where(Part.lot == "B2")))
    wait.part_id, wait.ended_at, wait.ended_by_id = part.id, now(), 1
    glued = select(DrillingStep.id).where(DrillingStep.action == "glue").limit(1).scalar_subquery()
    card_issues.issue(session, 1, IssueForm.read({"who": "1", "hand": "right"}))
    take(session, "1", open_made())
    session.execute(update(DrillingStep).where(DrillingStep.id == glued).values(part_id=part.id))


@pytest.fixture
def saturday(empty_url: str) -> str:
    engine = open_engine(empty_url)
    with sessions(engine)() as session:
        fill_saturday(session)
        add_what_is_missing(session)
        session.commit()
    engine.dispose()
    return empty_url


def test_the_whole_shop_comes_back_row_by_row(
    databases: Databases, all_databases: dict[str, Databases], saturday: str, tmp_path: Path
) -> None:
    """By lines into each kind of database, and by a backup; no table is empty, so none can be lost unseen."""
    before = read_rows(saturday)
    assert {name for name, rows in before.items() if not rows} == OF_SIGNED_IN
    assert len(before["ticket"]) > 20
    copy = backups.make_backup(saturday, tmp_path / "copies")
    file = tmp_path / "shop.jsonl"
    rebuilds.write_lines(file, rebuilds.export_from(saturday))
    for other in all_databases.values():
        there = other.copied(other.empty)
        filled = restores.import_lines(there, file)
        assert filled == {name: len(rows) for name, rows in before.items() if rows}
        assert_same(read_rows(there), before)
        other.drop(there)
    back = databases.new() if databases.kind == "postgresql" else f"sqlite:///{tmp_path / 'back' / 'shop.db'}"
    restores.restore(back, copy)
    assert_same(read_rows(back), before)
    databases.drop(back)


def assert_same(found: Rows, expected: Rows) -> None:
    for name, rows in expected.items():
        assert found[name] == rows, name
