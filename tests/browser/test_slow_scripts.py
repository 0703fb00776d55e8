"""A page whose scripts come late, as on a shop's weak radio: what was typed before them is taken up, not lost."""

from collections.abc import Callable

import pytest
from playwright.sync_api import Page, Route, expect

from tests.browser.conftest import Shop

pytestmark = pytest.mark.once


@pytest.fixture
def release(page: Page) -> Callable[[], None]:
    """Holds every script of the page until it is called."""
    held: list[Route] = []

    def hold(route: Route) -> None:
        held.append(route)

    page.route("**/*.js*", hold)

    def go_on() -> None:
        for route in held:
            route.continue_()

    return go_on


def test_a_name_typed_before_the_scripts_run_is_looked_up(shop: Shop, page: Page, release: Callable[[], None]) -> None:
    page.goto("/", wait_until="commit")
    page.locator("#q").fill("hanne")
    expect(page.locator("#results a.row")).to_have_count(0)
    release()
    expect(page.locator("#results a.row")).to_have_count(1)


def test_spans_typed_before_the_scripts_run_are_read_back(shop: Shop, page: Page, release: Callable[[], None]) -> None:
    page.goto("/bowlers/8/fits/new", wait_until="commit")
    page.locator("input[name=spans]").fill("4 3/8 x 4 1/2")
    release()
    expect(page.locator("#spans-read")).to_contain_text("4 3/8")
