"""A used ball with two plugs, recorded, drilled over one of them knowingly, and printed."""

from datetime import date, timedelta

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import KeepScreenshot, Shop, tick_before
from tests.browser.test_bench import tap_initials

pytestmark = pytest.mark.once

CURED = date.today() - timedelta(days=3)


def record(page: Page, digit: str, ways: tuple[str, str], typed: dict[str, str]) -> None:
    page.get_by_role("link", name="Record an old hole").click()
    page.locator("form").get_by_text(digit, exact=True).click()
    for way in ways:
        page.locator("form").get_by_text(way, exact=True).click()
    for label, text in typed.items():
        page.get_by_label(label, exact=True).fill(text)
    tap_initials(page)
    page.get_by_role("button", name="Save").click()


def test_a_used_ball_is_drilled_over_one_of_its_plugs_knowingly(
    shop: Shop, page: Page, keep_screenshot: KeepScreenshot
) -> None:
    page.goto("/bowlers/1/balls/new")
    page.get_by_label("What you call it").fill("Used ball")
    page.get_by_label("Serial").fill("UB-7")
    tap_initials(page)
    page.get_by_role("button", name="Save").click()

    thumb = {"Along the centre line": "1 3/4", "Square across": "3/8", "Size": "1 1/2", "Pitch": "0", "Depth": "2 3/4"}
    filled = {"Filled with": "two-part resin", "May be drilled from": CURED.isoformat()}
    record(page, "a thumb hole", ("towards the thumb", "to the left"), thumb | filled | {"Square across": "9"})
    expect(page.locator("#across-error")).to_contain_text("quarter of the ball")
    expect(page.get_by_label("Filled with")).to_have_value("two-part resin")
    keep_screenshot(page, "old-hole-refused")
    page.get_by_label("Square across").fill("3/8")
    tap_initials(page)
    page.get_by_role("button", name="Save").click()
    finger = {"Along the centre line": "3 7/8", "Square across": "2 1/2", "Size": "31/32", "Pitch": "0", "Depth": "1"}
    record(page, "a finger hole", ("towards the fingers", "to the right"), finger | filled)
    expect(page.locator("#old-holes tbody tr")).to_have_count(2)
    expect(page.locator("#old-holes path.plug")).to_have_count(2)
    keep_screenshot(page, "old-holes-ball")

    ball = page.url.partition("#")[0]
    page.get_by_role("link", name="Drill this ball").click()
    numbers = page.locator("#answer")
    expect(numbers).to_contain_text("wall, bore to the plug of the old thumb hole")
    expect(numbers).not_to_contain_text("wall, ring to the plug")
    page.get_by_role("button", name="Save this plan").click()
    expect(page.locator("#reason-error")).to_be_visible()
    page.get_by_label("Reason to keep a plan that fails a check").fill("over the old thumb knowingly")
    keep_screenshot(page, "old-holes-plan")
    page.get_by_role("button", name="Save this plan").click()
    expect(page.get_by_role("main")).to_contain_text("over the old thumb knowingly")
    assert page.locator("svg.section path.plug").count() >= 1

    drilling_id = int(page.url.rsplit("/", 1)[1])
    tick_before(shop, drilling_id, "bore")
    page.goto(f"/drillings/{drilling_id}/bench")
    expect(page.locator(".bench-caution")).to_contain_text("plug of the old thumb hole (two-part resin)")
    keep_screenshot(page, "old-holes-bench")
    page.set_viewport_size({"width": 360, "height": 780})
    for name, where in (("plan", f"/drillings/{drilling_id}"), ("ball", ball), ("form", "/old-holes/1/edit")):
        page.goto(where)
        assert page.evaluate("document.documentElement.scrollWidth") <= 360
        keep_screenshot(page, f"old-holes-phone-{name}")
    sheet = page.context.new_page()
    sheet.goto(f"/drillings/{drilling_id}/sheet")
    expect(sheet.locator("body")).to_contain_text("not before " + CURED.isoformat())
    assert sheet.locator("svg.grip path[fill='#ccc']").count() == 2
    keep_screenshot(sheet, "old-holes-sheet")
