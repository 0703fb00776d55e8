"""A plan whose checks fail, mended by one tap each, or kept with a reason."""

from fractions import Fraction

import pytest
from playwright.sync_api import Browser, Page, expect

from app.db import open_engine, sessions
from app.models import FitHole, InsertSystem
from tests.browser.conftest import KeepScreenshot, Shop, opened
from tests.browser.test_bench import PHONE, tap_initials
from tests.browser.test_owned_inners import start
from tests.conftest import not_none

pytestmark = pytest.mark.once


def fail_two_checks(shop: Shop) -> None:
    """Fingers an inch and a half deep run into each other; a slug of 2 1/4 in leaves a point no travel."""
    engine = open_engine(shop.database)
    with sessions(engine)() as session, session.begin():
        for hole in session.query(FitHole).filter(FitHole.fit_id == 1, FitHole.digit != "thumb"):
            hole.depth_in = Fraction(3, 2)
        not_none(session.get(InsertSystem, 1)).inner_length_in = Fraction(9, 4)
    engine.dispose()


def check_heights(page: Page) -> None:
    """Two failing checks, and all that holds folded: a screen and a half at the counter, four thumbs' pulls on a phone."""
    for width, most in ((1280, 1500), (360, 3000)):
        page.set_viewport_size({"width": width, "height": 780})
        assert page.evaluate("document.documentElement.scrollHeight") <= most, width
        assert page.evaluate("document.documentElement.scrollWidth") <= width
    page.set_viewport_size(PHONE)


def failing(page: Page) -> int:
    return page.get_by_text("fails", exact=False).and_(page.locator(".verdict")).count()


@pytest.mark.parametrize("has_script", [True, False])
def test_two_failing_checks_are_mended_by_one_tap_each(
    browser: Browser, shop: Shop, keep_screenshot: KeepScreenshot, has_script: bool
) -> None:
    fail_two_checks(shop)
    context = opened(browser, shop, viewport=PHONE, java_script_enabled=has_script)
    page = context.new_page()
    start(page, f"PC-{has_script}")
    expect(page.get_by_role("button", name="Use a flat-bottomed bit")).to_be_visible()
    before = failing(page)
    keep_screenshot(page, f"plan-failing-{has_script}")
    assert page.locator("#checks svg.section").count() == before  # each is seen where it fails
    check_heights(page)
    page.get_by_role("button", name="Use a flat-bottomed bit").click()
    expect(page.get_by_role("button", name="Use a flat-bottomed bit")).to_have_count(0)
    assert failing(page) == before - 1
    page.get_by_role("button", name="Drill the fingers").first.click()
    expect(page.get_by_role("button", name="Drill the fingers")).to_have_count(0)
    assert failing(page) == 0
    page.get_by_text("change", exact=True).click()
    expect(page.get_by_label("Finger holes, deep")).not_to_have_value("")
    tap_initials(page)
    page.get_by_role("button", name="Save this plan").click()
    expect(page.get_by_role("link", name="To the bench")).to_be_visible()
    assert failing(page) == 0
    context.close()


def test_a_failing_plan_is_kept_with_a_reason_that_it_shows(browser: Browser, shop: Shop) -> None:
    fail_two_checks(shop)
    context = opened(browser, shop, viewport=PHONE)
    page = context.new_page()
    start(page, "PC-2")
    tap_initials(page)
    page.get_by_role("button", name="Save this plan").click()
    reason = page.get_by_label("Reason to keep a plan that fails a check")
    expect(reason).to_have_attribute("aria-invalid", "true")
    reason.fill("A trial ball that is plugged afterwards")
    page.get_by_role("button", name="Save this plan").click()
    expect(page.get_by_role("main")).to_contain_text("Kept with a failing check because: A trial ball")
    check_heights(page)
    context.close()
