"""A fresh shop a test: a real SQLite file, migrated once and copied, filled through the services."""

import shutil
from collections.abc import Iterator
from contextlib import ExitStack
from functools import partial
from pathlib import Path

import httpx
import pytest
from anyio.from_thread import start_blocking_portal
from fastapi import FastAPI
from hypothesis import settings as hypothesis_settings
from sqlalchemy import event, select
from sqlalchemy.orm import Session

from app.db import READ_ONLY, open_engine, sessions, upgrade
from app.main import create_app
from app.models import Staff
from app.settings import Settings
from seed_demo import fill

hypothesis_settings.register_profile("steady", derandomize=True)  # the same cases on every machine
hypothesis_settings.load_profile("steady")


@pytest.fixture(scope="session")
def empty_database(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("empty") / "empty.db"
    upgrade(f"sqlite:///{path}")
    return path


@pytest.fixture(scope="session")
def demo_database(empty_database: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("demo") / "demo.db"
    shutil.copy(empty_database, path)
    engine = open_engine(f"sqlite:///{path}")
    with sessions(engine)() as session:
        fill(session)
        session.commit()
    with engine.begin() as connection:
        connection.exec_driver_sql("SELECT 1")
    engine.dispose()
    return path


@pytest.fixture
def database_url(demo_database: Path, tmp_path: Path) -> str:
    """The demo shop's database, a copy for this test alone."""
    copied = tmp_path / "shop.db"
    shutil.copy(demo_database, copied)
    return f"sqlite:///{copied}"


@pytest.fixture
def app(database_url: str) -> Iterator[FastAPI]:
    made = create_app(Settings(database_url=database_url))
    yield made
    made.state.engine.dispose()


@pytest.fixture
def session(app: FastAPI) -> Iterator[Session]:
    with app.state.sessions() as opened:
        yield opened


@pytest.fixture
def who(app: FastAPI) -> str:
    """The id, as forms post it, of a member of staff: TB, Tadeo Birk."""
    with app.state.sessions() as opened:
        opened.connection(execution_options=READ_ONLY)
        return str(opened.scalar(select(Staff.id).where(Staff.initials == "TB")))


class Client:
    """httpx against the app in process, called from plain tests; posts as the app's own pages do."""

    def __init__(self, app: FastAPI) -> None:
        self.leave = ExitStack()
        self.portal = self.leave.enter_context(start_blocking_portal())  # a loop of its own: the browser has another
        self.http = httpx.AsyncClient(transport=httpx.ASGITransport(app=app), base_url="http://shop.test")

    def get(self, url: str, **more) -> httpx.Response:
        return self.portal.call(partial(self.http.get, url, **more))

    def post(self, url: str, data: dict | None = None, headers: dict | None = None, **more) -> httpx.Response:
        own = {"origin": "http://shop.test"} | (headers or {})
        return self.portal.call(partial(self.http.post, url, data=data, headers=own, **more))

    def close(self) -> None:
        self.portal.call(self.http.aclose)
        self.leave.close()


@pytest.fixture
def client(app: FastAPI) -> Iterator[Client]:
    made = Client(app)
    yield made
    made.close()


@pytest.fixture
def count_queries(app: FastAPI):
    """Counts the statements a call sends."""

    def counted(call) -> int:
        statements: list[str] = []

        def note(_connection, _cursor, statement, *_rest) -> None:
            if not statement.startswith("BEGIN"):
                statements.append(statement)

        event.listen(app.state.engine, "before_cursor_execute", note)
        try:
            call()
        finally:
            event.remove(app.state.engine, "before_cursor_execute", note)
        return len(statements)

    return counted
