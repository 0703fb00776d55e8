"""A fresh shop a test: a real SQLite file, migrated once and copied, filled through the services."""

import os
import shutil
import time
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from functools import partial
from itertools import islice
from pathlib import Path
from typing import Any, TypeVar, cast

import httpx
import pytest
from alembic import command
from anyio.from_thread import start_blocking_portal
from argon2 import PasswordHasher
from fastapi import FastAPI
from hypothesis import settings as hypothesis_settings
from sqlalchemy import NullPool, QueuePool, create_engine, event, select
from sqlalchemy.orm import Session, joinedload

from app.db import READ_ONLY, alembic_config, open_engine, revision, sessions, steps, upgrade
from app.main import create_app
from app.models import Staff
from app.services import hashes, rebuilds, sign_ins
from app.settings import Settings
from seed_demo import PIN, fill
from tests import compiled, reflected
from tests.migrated import upgrade_or_copy
from tests.unchanged import Unchanged

CountQueries = Callable[[Callable[[], object]], int]

hypothesis_settings.register_profile("steady", derandomize=True, deadline=None)  # the same on every machine
hypothesis_settings.load_profile("steady")

compiled.share_queries()
reflected.reflect_alone()
hashes.hasher = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)  # a tenth of a second each otherwise
POSTGRES = os.environ.get("SPANBOOK_TEST_POSTGRES", "")  # a server's address with a database that may make others
KINDS = ["sqlite", "postgresql"] if POSTGRES else ["sqlite"]


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Leaves out the further databases where one says it all, and puts the longest tests first.

    Queries are built in services, whose tests run on every database. Pages and API run on SQLite alone, but for the
    modules marked `both`: how they commit, wait, fail and write history.
    """
    again = {i for i in items if _is_once(i) and _kind(i) in KINDS[1:]}
    config.hook.pytest_deselected(items=list(again))
    items[:] = _share_out([i for i in items if i not in again], int(os.environ.get("PYTEST_XDIST_WORKER_COUNT", "1")))


def _share_out(items: list[pytest.Item], workers: int) -> list[pytest.Item]:
    """Orders tests so that equal shares of them, one after another, keep each worker busy to the end.

    Two of four workers drive a browser, the others share the tests of endurance; the shortest come last, to be stolen.
    """
    browser = [i for i in items if "browser" in i.path.parts]
    endurance = [i for i in items if "endurance" in i.path.parts]
    shortest = [i for i in items if i.path.stem == "test_corpus"]
    known = {*browser, *endurance, *shortest}
    others = [i for i in items if i not in known]
    drivers = min(2, workers // 2) or 1
    rest = workers - drivers or 1
    longest = [*(browser[n::drivers] for n in range(drivers)), *(endurance[n::rest] for n in range(rest))]
    shares = [[*share, *others[n :: len(longest)]] for n, share in enumerate(longest)]
    size, last = -(-len(items) // workers), iter(shortest)
    return [i for share in shares for i in [*share, *islice(last, max(0, size - len(share)))]] + list(last)


def _is_once(item: pytest.Item) -> bool:
    is_of_pages = bool({"pages", "api", "browser"} & set(item.path.parts))
    return bool(item.get_closest_marker("once")) or (is_of_pages and not item.get_closest_marker("both"))


def _kind(item: pytest.Item) -> str:
    """The database that a test runs on, empty for one without."""
    callspec = getattr(item, "callspec", None)
    return str(callspec.params.get("databases", "")) if callspec else ""


@pytest.fixture
def tell(record_property: Callable[[str, object], None]) -> Callable[[str], None]:
    """Prints a figure that was measured after all the dots, also from a worker's process."""
    return lambda words: record_property("figure", words)


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    seconds: Counter[str] = Counter()
    for report in (r for name in ("", "passed", "failed") for r in terminalreporter.stats.get(name, [])):
        seconds[report.nodeid.partition("::")[0]] += getattr(report, "duration", 0)
    for file, taken in seconds.most_common(30):  # all tests of a file together
        terminalreporter.write_line(f"{taken:6.0f} s {file}")
    reports = [r for name in ("passed", "failed") for r in terminalreporter.stats.get(name, [])]
    for words in (value for r in reports for name, value in getattr(r, "user_properties", []) if name == "figure"):
        terminalreporter.write_line(words)


class Databases:
    """Databases of one kind: an empty one and a filled one made once, and copies of them for each test."""

    def __init__(self, kind: str, folder: Path) -> None:
        self.kind, self.folder, self.made = kind, folder, 0
        self.names: list[str] = []
        self.server = create_engine(POSTGRES or "sqlite://", isolation_level="AUTOCOMMIT", poolclass=NullPool)
        self.empty = self.new()
        upgrade(self.empty)
        self.demo = self.copied(self.empty)
        engine = open_engine(self.demo)
        with sessions(engine)() as session:
            fill(session)
            session.commit()
        engine.dispose()
        self.older: dict[str, str] = {}
        self.empties = {revision(): self.empty}
        self.spare: list[str] = []
        self.as_made = Unchanged(self.demo) if kind == "postgresql" else None

    def lend(self) -> str:
        """The address of a copy of the demo shop for one test, or of one that a test gave back unchanged."""
        return self.spare.pop() if self.spare else self.copied(self.demo)

    def take_back(self, url: str) -> None:
        if self.as_made and self.as_made.give_back(url):
            self.spare.append(url)
        else:
            self.drop(url)

    def new(self) -> str:
        """The address of a database of its own, with no tables."""
        return self._made("")

    def copied(self, url: str) -> str:
        """The address of a copy."""
        return self._made(url)

    def demo_at(self, step: str) -> str:
        """The address of a copy of the demo shop, taken back to an older migration."""
        return self.copied(self._taken_back(step))

    def _taken_back(self, step: str) -> str:
        """Takes each migration back once, from the database of the one after it."""
        if step == revision():
            return self.demo
        if step not in self.older:
            self.older[step] = self.copied(self._taken_back(steps()[steps().index(step) + 1]))
            command.downgrade(alembic_config(self.older[step]), step)
        return self.older[step]

    def empty_at(self, step: str) -> str:
        """The address of the empty database of a migration, made from that of an older one by the steps between."""
        if step not in self.empties:
            older = max((s for s in self.empties if s < step), default="")
            made = self.copied(self.empties[older]) if older else self.new()
            upgrade(made, step)
            self.empties[step] = made
        return self.empties[step]

    def _made(self, template: str) -> str:
        self.made += 1
        if self.kind == "sqlite":
            path = self.folder / f"{self.made}.db"
            if template:
                shutil.copy(template.removeprefix("sqlite:///"), path)
            return f"sqlite:///{path}"
        name = f"test_{os.getpid()}_{self.made}"
        like = f"TEMPLATE {template.rsplit('/', 1)[-1]}" if template else ""
        self._administer(f"CREATE DATABASE {name} {like} STRATEGY file_copy")
        self.names.append(name)
        return f"{POSTGRES.rsplit('/', 1)[0]}/{name}"

    def drop(self, url: str) -> None:
        """Gives a copy's space back."""
        if self.kind == "sqlite":
            for ending in ("", "-wal", "-shm"):
                Path(url.removeprefix("sqlite:///") + ending).unlink(missing_ok=True)
        else:
            self._administer(f"DROP DATABASE IF EXISTS {url.rsplit('/', 1)[-1]} WITH (FORCE)")

    def _administer(self, statement: str) -> None:
        with self.server.connect() as connection:
            connection.exec_driver_sql(statement)


@pytest.fixture(scope="session")
def all_databases(tmp_path_factory: pytest.TempPathFactory) -> Iterator[dict[str, Databases]]:
    made = {kind: Databases(kind, tmp_path_factory.mktemp(kind)) for kind in KINDS}
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(rebuilds, "upgrade", partial(upgrade_or_copy, made["sqlite"].empty_at))
        yield made
    for databases in made.values():
        for name in databases.names:
            databases.drop(name)
        databases.server.dispose()


@pytest.fixture(params=KINDS)
def databases(request: pytest.FixtureRequest, all_databases: dict[str, Databases]) -> Databases:
    """Where this test's databases come from; with SPANBOOK_TEST_POSTGRES every test runs on both kinds."""
    return all_databases[request.param]


@pytest.fixture
def database_url(databases: Databases) -> Iterator[str]:
    """The demo shop's database, a copy for this test alone."""
    url = databases.lend()
    yield url
    databases.take_back(url)


@pytest.fixture
def empty_url(databases: Databases) -> Iterator[str]:
    """A database with tables and nothing in them."""
    url = databases.copied(databases.empty)
    yield url
    databases.drop(url)


@pytest.fixture
def settings(database_url: str, tmp_path: Path) -> Settings:
    return Settings(database_url=database_url, hosts="shop.test", backup_folder=str(tmp_path / "backups"))


@pytest.fixture
def app(settings: Settings) -> Iterator[FastAPI]:
    made = create_app(settings)
    yield made
    pool = cast(QueuePool, made.state.engine.pool)
    for _ in range(500):  # a thread of the app may be reading still: its connection would be left open
        if not pool.checkedout():
            break
        time.sleep(0.01)
    made.state.engine.dispose()


@pytest.fixture
def token(app: FastAPI) -> str:
    """TB's sign-in, made before the test's own session holds the writers' lock."""
    return signed_in(app)


@pytest.fixture
def session(app: FastAPI, token: str) -> Iterator[Session]:
    with app.state.sessions() as opened:
        yield opened


@pytest.fixture
def who(app: FastAPI) -> str:
    """The id, as forms post it, of a member of staff: TB, Tadeo Birk, an owner."""
    with app.state.sessions() as opened:
        opened.connection(execution_options=READ_ONLY)
        return str(opened.scalar(select(Staff.id).where(Staff.initials == "TB")))


def signed_in(app: FastAPI, initials: str = "TB") -> str:
    """The cookie's value of somebody who just signed in with their password."""
    with app.state.sessions() as opened, opened.begin():
        person = opened.scalars(select(Staff).where(Staff.initials == initials).options(joinedload(Staff.shop))).one()
        return sign_ins.open_sign_in(opened, person, "tests")[1]


T = TypeVar("T")


def not_none(value: T | None) -> T:
    """The value, which a test knows to be there."""
    assert value is not None
    return value


class Client:
    """httpx against the app in process, called from plain tests; posts as the app's own pages do."""

    def __init__(self, app: FastAPI) -> None:
        self.leave = ExitStack()
        self.portal = self.leave.enter_context(start_blocking_portal())  # a loop of its own: the browser has another
        self.app = app
        transport = httpx.ASGITransport(app=app, raise_app_exceptions=False)
        self.http = httpx.AsyncClient(transport=transport, base_url="http://shop.test")
        self.http.headers["accept-encoding"] = "identity"  # packing and unpacking each page takes time for nothing

    def sign_in(self, initials: str = "TB") -> "Client":
        return self.carry(signed_in(self.app, initials))

    def carry(self, token: str) -> "Client":
        self.http.cookies.set("spanbook", token, domain="shop.test", path="/")
        return self

    def sign_out(self) -> "Client":
        self.http.cookies.clear()
        return self

    def get(self, url: str, **more: Any) -> httpx.Response:
        return self.portal.call(partial(self.http.get, url, **more))

    def post(
        self, url: str, data: dict[str, str] | None = None, headers: dict[str, str] | None = None, **more: Any
    ) -> httpx.Response:
        own = {"origin": "http://shop.test"} | (headers or {})
        if data and data.get("who"):
            data = {"pin": PIN} | data
        return self.portal.call(partial(self.http.post, url, data=data, headers=own, **more))

    def close(self) -> None:
        self.portal.call(self.http.aclose)
        self.leave.close()


@pytest.fixture
def client(app: FastAPI, token: str) -> Iterator[Client]:
    """Signed in as TB, an owner; another person's form is signed with their PIN."""
    made = Client(app).carry(token)
    yield made
    made.close()


@pytest.fixture
def count_queries(app: FastAPI) -> CountQueries:
    """Counts the statements a call sends."""

    def counted(call: Callable[[], object]) -> int:
        statements: list[str] = []

        def note(_connection: object, _cursor: object, statement: str, *_rest: object) -> None:
            if not statement.startswith(("BEGIN", "SET TRANSACTION", "SELECT pg_advisory")):
                statements.append(statement)

        event.listen(app.state.engine, "before_cursor_execute", note)
        try:
            call()
        finally:
            event.remove(app.state.engine, "before_cursor_execute", note)
        return len(statements)

    return counted
