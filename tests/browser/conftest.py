"""A real Chromium on a real server, through a made-up host name on plain http as on a shop's network."""

import os
import re
import shutil
import socket
import threading
import time
from collections.abc import Callable, Generator, Iterator
from contextlib import contextmanager, suppress
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
import uvicorn
from playwright.sync_api import Browser, BrowserContext, Page, expect, sync_playwright
from playwright.sync_api import Error as PlaywrightError
from sqlalchemy import select

from app.db import open_engine, sessions
from app.main import create_app
from app.models import Ball, Fit
from app.schemas.drillings import ConfirmationForm, PlanForm, TickForm
from app.services import bench, plans
from app.serving import Server
from app.settings import Settings
from tests.conftest import signed_in

PATIENCE_MS = 30_000  # of a wait that ends at once on a machine with nothing else to do
expect.set_options(timeout=PATIENCE_MS)
KeepScreenshot = Callable[[Page, str], None]

# the same engine without a browser's own windows comes first: it takes a third of the processor's time for a page
KNOWN_AS = ("chromium-headless-shell", "chromium", "chromium-browser")
CHROMIUM = os.environ.get("SPANBOOK_CHROMIUM") or next(filter(None, map(shutil.which, KNOWN_AS)), None)
ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--disable-dev-shm-usage",
]


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Without Chromium the browser tests say why they are skipped; CI sets SPANBOOK_NEEDS_BROWSER and then they fail."""
    for item in items:
        if "browser" in item.path.parts:
            item.add_marker(pytest.mark.browser)
            if CHROMIUM is None and not os.environ.get("SPANBOOK_NEEDS_BROWSER"):
                item.add_marker(
                    pytest.mark.skip(reason="no Chromium here: install it, or name it in SPANBOOK_CHROMIUM")
                )


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(
    item: pytest.Item, call: pytest.CallInfo[None]
) -> Generator[None, pytest.TestReport, pytest.TestReport]:
    """A failure says what stood on each open page, since on a busy machine it seldom comes again."""
    report = yield
    launched = getattr(item, "funcargs", {}).get("browser")
    if report.failed and launched:
        for page in [page for context in launched.contexts for page in context.pages]:
            with suppress(PlaywrightError):
                words = page.locator("body").inner_text(timeout=5_000)
                report.sections.append((f"page {page.url}", words[:3_000]))
    return report


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    assert CHROMIUM, "Chromium is wanted (SPANBOOK_NEEDS_BROWSER) and is not here"
    with sync_playwright() as playwright:
        launched = playwright.chromium.launch(
            executable_path=CHROMIUM, args=[*ARGUMENTS, "--host-resolver-rules=MAP shop.test 127.0.0.1"]
        )
        yield launched
        launched.close()


class Shop(str):
    """The address of a running shop, with the token of somebody signed in there and its database."""

    token: str
    database: str

    def __new__(cls, address: str, token: str, database: str) -> "Shop":
        made = super().__new__(cls, address)
        made.token, made.database = token, database
        return made


@pytest.fixture
def shop(settings: Settings) -> Iterator[Shop]:
    """The address of a running server on a demo shop of this test's own."""
    with serve(settings) as address:
        yield address


@contextmanager
def serve(settings: Settings) -> Iterator[Shop]:
    """Runs the app on a port that is held from the moment it is found."""
    app = create_app(settings)
    server = Server(uvicorn.Config(app, log_level="error"), app)
    with socket.create_server(("127.0.0.1", 0)) as listening:
        thread = threading.Thread(target=server.run, args=([listening],), daemon=True)
        thread.start()
        while not server.started:
            time.sleep(0.02)
        yield Shop(f"http://shop.test:{listening.getsockname()[1]}", signed_in(app), settings.url)
        server.stop()
        thread.join(10)


def add_plan(shop: Shop, serial: str) -> int:
    """Plans a new ball for Anna Johnson on her fit in force; returns the drilling's id."""
    engine = open_engine(shop.database)
    with sessions(engine)() as session, session.begin():
        ball = Ball(bowler_id=1, label="Press ball", serial=serial, circumference_in=Fraction(27))
        fit = session.scalars(select(Fit).where(Fit.bowler_id == 1, Fit.state == "in force")).one()
        session.add(ball)
        session.flush()
        form = {"who": "2", "fit_id": str(fit.id), "system_id": str(fit.system_id)}
        planned = plans.plan_drilling(session, ball, PlanForm.read(form)).id
    engine.dispose()
    return planned


def tick_before(shop: Shop, drilling_id: int, action: str) -> None:
    """Ticks every step before this one as planned, without the pages."""
    engine = open_engine(shop.database)
    with sessions(engine)() as session, session.begin():
        for step in bench.get_drilling(session, drilling_id).steps:
            if step.action == action:
                break
            if step.is_cut:
                bench.confirm(session, drilling_id, ConfirmationForm.read({"who": "2", "reason": "as asked"}))
            if not step.ticked_at:
                unread = {"not_read": "true"} if "depth" in step.reads else {}
                bench.tick(session, drilling_id, step.position, TickForm.read({"who": "2"} | unread))
                session.flush()
    engine.dispose()


def opened(browser: Browser, shop: Shop, **options: Any) -> BrowserContext:
    """A browser that TB has signed in on."""
    context = browser.new_context(base_url=shop, **options)
    context.add_cookies([{"name": "spanbook", "value": shop.token, "url": shop, "httpOnly": True, "sameSite": "Lax"}])
    context.set_default_timeout(PATIENCE_MS)
    return context


# What the browser tells as an error and is none: a form refused, and a request given up because the page was left.
EXPECTED = re.compile(r"422|409|^htmx:(afterRequest|sendAbort), \[object HTML")


@pytest.fixture
def page(browser: Browser, shop: Shop) -> Iterator[Page]:
    context = opened(browser, shop, viewport={"width": 1280, "height": 900})
    made = context.new_page()
    troubles: list[str] = []
    made.on("pageerror", lambda error: troubles.append(str(error)))
    made.on("console", lambda message: troubles.append(message.text) if message.type == "error" else None)
    yield made
    context.close()
    assert [t for t in troubles if not EXPECTED.search(t)] == []


@pytest.fixture
def keep_screenshot() -> KeepScreenshot:
    """Saves a screenshot for the README when SPANBOOK_SCREENSHOTS names a folder."""
    folder = os.environ.get("SPANBOOK_SCREENSHOTS")

    def keep(page: Page, name: str) -> None:
        if folder:
            Path(folder).mkdir(parents=True, exist_ok=True)
            page.screenshot(path=Path(folder) / f"{name}.png", full_page=True)

    return keep
