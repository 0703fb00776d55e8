"""Disk full, a disk that takes no writes, a locked or damaged database, a clock gone back: a clear page and a way on."""

import re
import shutil
import time
from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace
from datetime import datetime, timedelta
from fractions import Fraction
from pathlib import Path

import pytest
from fastapi import FastAPI
from sqlalchemy import Connection, event, func, select, update
from sqlalchemy.exc import DBAPIError
from sqlalchemy.orm import Session

from app import db
from app.db import open_engine
from app.main import create_app
from app.models import Bowler, Change, DepthObservation, Drilling, ShopLimit, SignIn, now
from app.models.plans import PlannedLimit, PlannedLimits
from app.schemas.studies import CELLS
from app.services.shop_limits import LIMITS
from app.settings import Settings
from tests.conftest import Client, CountQueries, Databases, not_none, signed_in
from tests.pages.test_pages import PAGES, new_bowler, text_of

pytestmark = pytest.mark.both


def is_sqlite(url: str) -> bool:
    return url.startswith("sqlite")


@pytest.fixture
def administer(database_url: str) -> Iterator[Callable[..., None]]:
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


def bowlers_in(session: Session) -> int:
    count = session.scalar(select(func.count()).select_from(Bowler))
    session.rollback()
    return not_none(count)


def test_a_full_disk_says_so_saves_nothing_and_takes_the_form_again(
    app: FastAPI, client: Client, session: Session, who: str, database_url: str, administer: Callable[..., None]
) -> None:
    before = bowlers_in(session)
    large = new_bowler(who, notes="x" * 2000)
    if is_sqlite(database_url):

        @event.listens_for(app.state.engine, "begin", insert=True)
        def no_more_pages(connection: Connection) -> None:
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
def read_only(databases: Databases, database_url: str, app: FastAPI) -> Iterator[Client]:
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


def test_on_a_disk_without_writes_looking_up_works_and_saving_says_why(
    read_only: Client, app: FastAPI, who: str
) -> None:
    with app.state.sessions() as session, session.begin():
        from app.models import SignIn

        session.query(SignIn).update({"seen_at": now() - timedelta(minutes=30)})
    assert "/bowlers/1" in read_only.get("/?q=johnson").text
    assert read_only.get("/bowlers/1").status_code == 200
    refused = read_only.post("/bowlers", new_bowler(who))
    assert refused.status_code == 503
    assert "The disk takes no writes, so nothing was saved" in text_of(refused.text)


def test_a_locked_database_asks_for_patience_and_then_takes_the_form(
    settings: Settings, who: str, monkeypatch: pytest.MonkeyPatch
) -> None:
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


def kept_on(page: str) -> dict[str, str]:
    return dict(re.findall(r'type="hidden" name="(\w+)" value="([^"]*)"', page))


def test_a_form_that_met_a_fault_can_be_sent_again_as_it_was_typed(
    settings: Settings, who: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A browser that goes back to an uncached page has forgotten it."""
    monkeypatch.setattr(db, "_PATIENCE_MS", 200)
    app = create_app(settings)
    client = Client(app).carry(signed_in(app))
    other = "1" if who == "2" else "2"
    typed = new_bowler(other, notes="long typed note", key="k")
    writer = open_engine(settings.url)
    with writer.begin():
        refused = client.post("/bowlers", typed)
        wrong = {"sign_in_name": "tb", "password": "wrong"}  # pragma: allowlist secret
        assert kept_on(client.post("/sign-in", wrong).text) == {}
    kept = kept_on(refused.text)
    assert kept == {name: text for name, text in typed.items() if name != "pin"}
    again = client.post("/bowlers", kept | {"pin": ""})  # signed by the same person, whose PIN is not kept
    assert again.status_code == 422
    assert ('id="pin-error"' in again.text, "long typed note" in again.text) == (True, True)
    monkeypatch.setattr("app.services.bowlers.register", lambda *_: 1 / 0)
    assert kept_on(client.post("/bowlers", kept | {"who": who}).text)["notes"] == "long typed note"
    client.close()
    writer.dispose()
    app.state.engine.dispose()


def test_a_damaged_file_is_named_with_the_way_to_restore_it(
    all_databases: dict[str, Databases], tmp_path: Path
) -> None:
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


def test_a_clock_gone_back_is_told_and_records_keep_their_order(client: Client, session: Session, who: str) -> None:
    newest = not_none(session.scalars(select(Change).order_by(Change.id.desc())).first())
    newest.at = now() + timedelta(days=2)
    session.commit()
    assert "clock is behind the newest record" in text_of(client.get("/").text)
    assert client.post("/bowlers", new_bowler(who)).status_code == 303
    history = re.findall(r"TB made bowler", text_of(client.get("/bowlers/10").text))
    assert len(history) == 1


def seen_at(app: FastAPI) -> datetime:
    with app.state.sessions() as session:
        session.connection(execution_options=db.READ_ONLY)
        newest: datetime = session.scalar(select(SignIn.seen_at).order_by(SignIn.id.desc()).limit(1))
        return newest


def last_seen(app: FastAPI, minutes: int) -> datetime:
    """Sets when the newest sign-in was last in use."""
    with app.state.sessions() as session, session.begin():
        session.query(SignIn).update({"seen_at": now() - timedelta(minutes=minutes)})
    return seen_at(app)


def test_that_a_browser_is_in_use_is_noted_now_and_then_and_after_the_answer(
    app: FastAPI, client: Client, count_queries: CountQueries
) -> None:
    recent = last_seen(app, minutes=4)
    assert client.get("/bowlers/1").status_code == 200
    assert seen_at(app) == recent
    old = last_seen(app, minutes=6)
    assert client.get("/bowlers/1").status_code == 200
    assert seen_at(app) > old


def test_while_somebody_writes_reading_notes_nothing_and_waits_for_nobody(app: FastAPI, client: Client) -> None:
    old = last_seen(app, minutes=6)
    with app.state.sessions() as writer:
        writer.connection()  # a writer that does not come to its end, in this process
        begun = time.monotonic()
        assert [client.get("/bowlers/1").status_code for _ in range(8)] == [200] * 8
        assert time.monotonic() - begun < db._PATIENCE_MS / 1000  # not once has anybody waited for the writer
        assert seen_at(app) == old
    other = open_engine(str(app.state.engine.url.render_as_string(hide_password=False)))
    with other.begin():  # and in another process
        assert client.get("/bowlers/1").status_code == 200
        assert seen_at(app) == old
    other.dispose()
    assert client.get("/bowlers/1").status_code == 200
    assert seen_at(app) > old


def test_postgresql_ends_the_transaction_of_a_process_that_stopped_in_the_middle_of_it(database_url: str) -> None:
    if is_sqlite(database_url):
        return  # the lock on a file lasts as long as its process; readers do not stand behind it
    engine = open_engine(database_url + "?options=-c%20idle_in_transaction_session_timeout%3D300ms")
    stopped, next_one = engine.connect(), engine.connect()
    usual = open_engine(database_url)
    with usual.connect() as connection:
        asked = [
            connection.exec_driver_sql(f"SHOW {name}").scalar()
            for name in ("idle_in_transaction_session_timeout", "lock_timeout")
        ]
    assert asked == ["30s", "10s"]
    stopped.exec_driver_sql("SELECT 1")  # holds the writers' lock and never says another word
    assert next_one.exec_driver_sql("SELECT 1").scalar() == 1
    next_one.close()
    with pytest.raises(DBAPIError):
        stopped.exec_driver_sql("SELECT 1")
    stopped.close()
    for made in (engine, usual):
        made.dispose()


# Numbers nobody would store on purpose ------------------------------------------------------------------------------

STORED = tuple(
    Fraction(n) for n in ("0", "1/1000000000", "1000000", "-1")
)  # at the bounds of every setting, and beyond
SENSITIVE = (
    "/bowlers/1", "/bowlers/1/sits", "/balls/1/drillings/new", "/balls/2/drillings/new?fit_id=1&system_id=1", "/drillings/1", "/drillings/3/bench",
    "/drillings/1/finish?middle=3 47/64&ring=3 55/64", "/inners/1", "/inners/2", "/inners/1?drilling=2&rim_12=0&rim_3=0&rim_6=0&rim_9=1/32", "/shops/1",
    "/shops/2", "/settings", "/bits", "/visitors?bowler_id=1", "/inners/2/loose?height_12=2.66&height_3=2.62&height_6=2.58&height_9=2.62",
    "/api/v1/shops/1/depths",
)  # fmt: skip


def failing(client: Client, urls: Iterable[str]) -> list[str]:
    return [url for url in urls if client.get(url).status_code >= 500]


def store(session: Session, names: Iterable[str], value: Fraction) -> None:
    """Sets limits as an old program may have left them: straight into the table."""
    for name in names:
        session.merge(ShopLimit(name=name, value_in=value, typed=str(value), source="old"))
    session.commit()


@pytest.mark.once
@pytest.mark.parametrize("value", STORED, ids=str)
def test_no_page_fails_with_every_setting_at_its_bounds_or_beyond(
    client: Client, session: Session, app: FastAPI, value: Fraction
) -> None:
    store(session, [limit.name for limit in LIMITS], value)
    assert failing(client, {*PAGES, *SENSITIVE}) == []


@pytest.mark.once
@pytest.mark.parametrize("name", [limit.name for limit in LIMITS])
def test_no_page_fails_with_one_setting_at_0(client: Client, session: Session, app: FastAPI, name: str) -> None:
    store(session, [name], Fraction(0))
    assert failing(client, SENSITIVE) == []


@pytest.mark.once
@pytest.mark.parametrize("value", [STORED[0], *STORED[-2:]], ids=str)
def test_no_page_fails_on_stored_doubts_or_frozen_limits(
    client: Client, session: Session, app: FastAPI, value: Fraction
) -> None:
    session.execute(update(DepthObservation).values(repeatability_in=value, resolution_in=value))
    session.execute(update(Drilling).values(tolerance_in=value))
    for drilling in filter(lambda d: d.plan, session.scalars(select(Drilling))):
        limit = PlannedLimit(float(value), is_assumed=False)
        limits = PlannedLimits(limit, limit, limit, limit, limit)
        drilling.plan = replace(not_none(drilling.plan), cusp_limit_in=float(value), limits=limits)
    session.commit()
    assert failing(client, {*PAGES, *SENSITIVE}) == []


def test_a_gauge_study_whose_readings_all_agree_leaves_every_page_open(client: Client, who: str) -> None:
    for measures, reading in (("depth", "2 3/4"), ("sleeve_to_cut", "3 47/64")):
        typed = {"who": who, "version": "", "instrument": "gauge", "measures": measures} | dict.fromkeys(CELLS, reading)
        assert client.post("/studies", typed).status_code == 303
    depth = {"who": who, "version": "", "system_id": "1", "depth": "2 3/4", "datum": "collar"}
    typed = depth | {"obtained": "collar_measured", "observed_on": "2026-01-03"}
    assert client.post("/shops/1/depths", typed).status_code == 303
    assert failing(client, SENSITIVE) == []


def test_the_setting_0_of_a_doubt_is_kept_as_the_finest_division(client: Client, session: Session, who: str) -> None:
    client.post("/settings/collar_spread", {"who": who, "version": "", "value": "0", "source": "our study"})
    stored = not_none(session.get(ShopLimit, "collar_spread"))
    assert float(stored.value_in) == pytest.approx(0.001 / 12**0.5, abs=1e-6)  # JCGM 100:2008 4.3.7
    assert stored.typed == "0"
