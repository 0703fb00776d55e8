"""Disk full, a disk that takes no writes, a locked or damaged database, a clock gone back: a clear page and a way on."""

import re
import shutil
from datetime import timedelta

import pytest
from sqlalchemy import event, func, select

from app import db
from app.db import open_engine
from app.main import create_app
from app.models import Bowler, Change, now
from app.settings import Settings
from tests.conftest import Client, signed_in
from tests.pages.test_pages import new_bowler, text_of


def is_sqlite(url: str) -> bool:
    return url.startswith("sqlite")


@pytest.fixture
def administer(database_url):
    """Sends statements to PostgreSQL as its administrator."""
    engine = open_engine(database_url)

    def send(*statements: str) -> None:
        with engine.begin() as connection:
            for statement in statements:
                connection.exec_driver_sql(statement)

    yield send
    engine.dispose()


FULL = """CREATE FUNCTION no_space() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN RAISE EXCEPTION 'could not extend file "base/1": No space left on device' USING ERRCODE = '53100'; END $$"""


def bowlers_in(session) -> int:
    count = session.scalar(select(func.count()).select_from(Bowler))
    session.rollback()
    return count


def test_a_full_disk_says_so_saves_nothing_and_takes_the_form_again(
    app, client, session, who, database_url, administer
):
    before = bowlers_in(session)
    large = new_bowler(who, notes="x" * 2000)
    if is_sqlite(database_url):

        @event.listens_for(app.state.engine, "begin", insert=True)
        def no_more_pages(connection) -> None:
            connection.exec_driver_sql("PRAGMA max_page_count = 1")  # SQLite takes its present size as the least

    else:
        administer(FULL, "CREATE TRIGGER full_disk BEFORE INSERT ON bowler EXECUTE FUNCTION no_space()")
    answers = [
        client.post("/bowlers", large | {"name": f"Bowler {i}", "is_somebody_else": "true", "key": f"k{i}"})
        for i in range(40)
    ]
    full = next(a for a in answers if a.status_code != 303)
    assert full.status_code == 507
    assert "The disk is full, so nothing was saved. Free some space" in text_of(full.text)
    saved = sum(a.status_code == 303 for a in answers)
    assert bowlers_in(session) == before + saved
    assert client.get("/bowlers/1").status_code == 200  # looking up goes on
    if is_sqlite(database_url):
        event.remove(app.state.engine, "begin", no_more_pages)
        app.state.engine.dispose()
    else:
        administer("DROP TRIGGER full_disk ON bowler")
    again = client.post("/bowlers", large | {"name": "Bowler at last", "is_somebody_else": "true", "key": "k39"})
    assert again.status_code == 303


@pytest.fixture
def read_only(databases, database_url, app):
    """The same shop on a disk that takes no writes, with somebody signed in."""
    token = signed_in(app)
    if is_sqlite(database_url):
        app.state.engine.dispose()
        url = database_url.replace("sqlite:///", "sqlite:///file:") + "?mode=ro&uri=true"
    else:
        url = database_url + "?options=-c%20default_transaction_read_only%3Don"
    made = create_app(Settings(database_url=url, hosts="shop.test"))
    client = Client(made).carry(token)
    yield client
    client.close()
    made.state.engine.dispose()


def test_on_a_disk_without_writes_looking_up_works_and_saving_says_why(read_only, app, who):
    with app.state.sessions() as session, session.begin():
        from app.models import SignIn

        session.query(SignIn).update({"seen_at": now() - timedelta(minutes=30)})
    assert "/bowlers/1" in read_only.get("/?q=johnson").text
    assert read_only.get("/bowlers/1").status_code == 200
    refused = read_only.post("/bowlers", new_bowler(who))
    assert refused.status_code == 503
    assert "The disk takes no writes, so nothing was saved" in text_of(refused.text)


def test_a_locked_database_asks_for_patience_and_then_takes_the_form(settings, who, monkeypatch):
    monkeypatch.setattr(db, "_PATIENCE_MS", 200)
    app = create_app(settings)
    client = Client(app).carry(signed_in(app))
    other = open_engine(settings.url)
    with other.begin():  # another writer, who does not come to an end
        assert client.get("/bowlers/1").status_code == 200
        refused = client.post("/bowlers", new_bowler(who, key="k"))
    assert refused.status_code == 503
    assert refused.headers["retry-after"] == "5"
    assert "did not answer, so nothing was saved. Wait a moment" in text_of(refused.text)
    assert client.post("/bowlers", new_bowler(who, key="k")).status_code == 303
    client.close()
    other.dispose()
    app.state.engine.dispose()


def test_a_damaged_file_is_named_with_the_way_to_restore_it(all_databases, tmp_path):
    sqlite = all_databases["sqlite"]
    path = tmp_path / "shop.db"
    shutil.copy(sqlite.demo.removeprefix("sqlite:///"), path)
    app = create_app(Settings(database_url=f"sqlite:///{path}", hosts="shop.test"))
    token = signed_in(app)
    with app.state.engine.connect() as connection:
        connection.exec_driver_sql("COMMIT")
        connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")
        pages = (
            connection.exec_driver_sql("SELECT rootpage FROM sqlite_master WHERE tbl_name = 'bowler'").scalars().all()
        )
        connection.exec_driver_sql("BEGIN")
    app.state.engine.dispose()
    body = bytearray(path.read_bytes())
    for page in pages:
        body[(page - 1) * 4096 : page * 4096] = b"\xff" * 4096
    path.write_bytes(bytes(body))
    client = Client(app).carry(token)
    refused = client.get("/bowlers/1")
    assert refused.status_code == 503
    assert "The database file is damaged" in text_of(refused.text)
    assert "spanbook restore" in text_of(refused.text)
    client.close()
    app.state.engine.dispose()


def test_a_clock_gone_back_is_told_and_records_keep_their_order(client, session, who):
    newest = session.scalars(select(Change).order_by(Change.id.desc())).first()
    newest.at = now() + timedelta(days=2)
    session.commit()
    assert "clock says less than the newest record" in text_of(client.get("/").text)
    assert client.post("/bowlers", new_bowler(who)).status_code == 303
    history = re.findall(r"TB made bowler", text_of(client.get("/bowlers/10").text))
    assert len(history) == 1
