"""The counter page on a slow machine: what travels, whether anything jumps, and whether the first paint waits for script."""

import re
from collections.abc import Callable

import pytest
from playwright.sync_api import Browser

from tests.browser.conftest import Shop, opened
from tests.conftest import Client, not_none

MOST_BYTES = 80_000  # of the counter with all its files, compressed
MOST_BYTES_OF_A_PAGE = 150_000
pytestmark = pytest.mark.once


def test_the_counter_page_is_light_and_stands_still(browser: Browser, shop: Shop, tell: Callable[[str], None]) -> None:
    context = opened(browser, shop, viewport={"width": 1280, "height": 800})
    page = context.new_page()
    tools = context.new_cdp_session(page)
    tools.send("Network.enable")
    tools.send("Emulation.setCPUThrottlingRate", {"rate": 4})
    asked: dict[str, str] = {}  # address by request; Chromium asks for the icon whenever it likes
    received: list[int] = []
    loaded: list[str] = []

    def note(told: dict[str, str]) -> None:
        if "icon.svg" not in asked[told["requestId"]] and (count := int(told["encodedDataLength"])):
            received.append(count)
            loaded.append(asked[told["requestId"]])

    tools.on("Network.requestWillBeSent", lambda told: asked.update({told["requestId"]: told["request"]["url"]}))
    tools.on("Network.loadingFinished", note)
    page.add_init_script(
        """window.moved = 0;
        new PerformanceObserver(list => list.getEntries().forEach(e => { if (!e.hadRecentInput) window.moved += e.value }))
          .observe({type: 'layout-shift', buffered: true});"""
    )
    page.goto("/", wait_until="networkidle")
    assert len(received) >= 4  # page, style, htmx, our script
    assert sum(received) <= MOST_BYTES
    assert page.evaluate("window.moved") == 0
    tell(f"counter page: {sum(received)} bytes in {len(received)} files")
    loaded.clear()
    page.goto("/settings", wait_until="networkidle")
    page.goto("/", wait_until="networkidle")
    assert len(loaded) >= 2
    assert [
        url for url in loaded if "/static/" in url
    ] == []  # those named by their content's hash are never asked for again
    context.close()


@pytest.mark.parametrize("path", ["/drillings/1", "/bowlers/1", "/drillings/1/bench"])
def test_the_heaviest_pages_stay_light(browser: Browser, shop: Shop, tell: Callable[[str], None], path: str) -> None:
    context = opened(browser, shop, viewport={"width": 1280, "height": 800})
    page = context.new_page()
    tools = context.new_cdp_session(page)
    tools.send("Network.enable")
    received: list[int] = []
    tools.on("Network.loadingFinished", lambda told: received.append(int(told["encodedDataLength"])))
    page.goto(path, wait_until="networkidle")
    tell(f"{path}: {sum(received)} bytes in {len(received)} files")
    assert len(received) >= 4  # page, style, htmx, our script
    assert sum(received) <= MOST_BYTES_OF_A_PAGE
    context.close()


def test_the_first_paint_does_not_wait_for_script(browser: Browser, shop: Shop) -> None:
    context = opened(browser, shop)
    page = context.new_page()
    page.route(re.compile(r"\.js"), lambda route: None)  # never answered
    page.goto("/", wait_until="commit")
    page.locator("h2", has_text="To drill").wait_for()
    painted = "performance.getEntriesByName('first-contentful-paint').length"
    for _ in range(100):
        if page.evaluate(painted):
            break
        page.wait_for_timeout(50)
    assert page.evaluate(painted) == 1
    context.close()


def test_static_files_are_kept_for_good_and_pages_are_compressed(client: Client) -> None:
    html = client.get("/").text
    address = not_none(re.search(r'href="(/static/css/page\.css\?v=[0-9a-f]{16})"', html))[1]
    assert "immutable" in client.get(address).headers["cache-control"]
    plain = client.get("/static/css/page.css")
    assert plain.headers["cache-control"] == "no-cache"
    again = client.get("/static/css/page.css", headers={"if-none-match": plain.headers["etag"]})
    assert again.status_code == 304
    assert client.get("/", headers={"accept-encoding": "gzip"}).headers["content-encoding"] == "gzip"
