"""What does not come out as planned at the press: too deep and shimmed, a wrong bit, a depth read the next day."""

import re
from datetime import date

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.browser.conftest import KeepScreenshot, Shop, add_plan, opened, tick_before
from tests.browser.test_bench import PHONE, PRESS, type_depth

pytestmark = pytest.mark.once


def open_at(page: Page, shop: Shop, serial: str, action: str) -> int:
    planned = add_plan(shop, serial)
    tick_before(shop, planned, action)
    page.goto(f"/drillings/{planned}/bench")
    return planned


def decide(page: Page, way: str) -> None:
    page.get_by_role("radio", name=way).check()


def go_on(page: Page) -> None:
    page.get_by_role("button", name="Go on", exact=True).click()


def test_a_bare_depth_is_asked_where_it_was_measured_and_one_choice_answers_it(browser: Browser, shop: Shop) -> None:
    context = opened(browser, shop, viewport=PHONE, has_touch=True)
    page = context.new_page()
    open_at(page, shop, "ST-5", "bore")
    type_depth(page, "2 3/4")
    page.get_by_role("button", name="Done", exact=True).click()
    expect(page.locator("#datum-error")).to_contain_text("2 3/4, measured from where?")
    expect(page.get_by_label("Depth met")).to_have_value("2 3/4")
    page.get_by_label("Measured from").select_option("collar")
    page.get_by_role("button", name="Done", exact=True).click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Ream or sand until the sleeve slides")
    context.close()


@pytest.mark.parametrize(("size", "has_script"), [(PRESS, True), (PHONE, False)])
def test_a_bore_an_eighth_too_deep_is_caught_and_carried_on_by_a_shim(
    browser: Browser, shop: Shop, keep_screenshot: KeepScreenshot, size: dict[str, int], has_script: bool
) -> None:
    context = opened(browser, shop, viewport=size, java_script_enabled=has_script)
    page = context.new_page()
    planned = open_at(page, shop, "ST-1", "bore")
    type_depth(page, "2 7/8 collar")
    page.get_by_role("button", name="Done", exact=True).click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Stop")
    keep_screenshot(page, f"stop-{size['width']}")
    expect(page.get_by_role("row", name="Sleeve")).to_contain_text("1⁄8")
    go_on(page)
    expect(page.locator("#stop-decision-error, fieldset .error").first).to_be_visible()
    decide(page, "shim under the sleeve")
    expect(page.get_by_label("Shim under the sleeve, thick")).to_have_value("0.1225")
    page.get_by_label("Shim under the sleeve, thick").fill("1/8")
    go_on(page)
    expect(page.get_by_role("heading", level=1)).to_have_text("Ream or sand until the sleeve slides")
    tick_before(shop, planned, "drop_in")
    page.reload()
    expect(page.locator(".numbers-big")).to_contain_text("1⁄8")
    keep_screenshot(page, f"shim-{size['width']}")
    tick_before(shop, planned, "measure")
    page.goto(f"/drillings/{planned}")
    expect(page.get_by_role("main")).to_contain_text("a shim 1/8 thick")
    page.goto(f"/drillings/{planned}/sheet")
    expect(page.locator("table.cuts")).to_contain_text(
        re.compile(r"as met; planned\s+2 3⁄4.*shim\s+1⁄8 under the\s+sleeve", re.DOTALL)
    )
    context.close()


def test_a_wrong_bit_is_caught_and_its_tick_taken_back(
    browser: Browser, shop: Shop, keep_screenshot: KeepScreenshot
) -> None:
    context = opened(browser, shop, viewport=PHONE, has_touch=True)
    page = context.new_page()
    open_at(page, shop, "ST-2", "ring_bore")
    page.get_by_label("Depth not read").check()
    page.get_by_text("not as shown", exact=True).click()
    page.get_by_label("Bit used").fill("1 1/16")
    page.get_by_role("button", name="Done", exact=True).click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Stop")
    keep_screenshot(page, "stop-wrong-bit")
    decide(page, "stop and hand over")
    go_on(page)
    expect(page.locator("#stop-reason-error")).to_be_visible()
    page.get_by_label("Reason, or what the next person should know").fill("ask whether a wider insert is here")
    go_on(page)
    expect(page.locator(".notice", has_text="Handed over: ask whether a wider insert is here")).to_be_visible()
    decide(page, "take the tick back")
    go_on(page)
    expect(page.get_by_role("heading", level=1)).to_have_text("Bore the ring finger")
    page.get_by_text("All steps").click()
    expect(page.get_by_text("Stops, 1")).to_be_visible()
    context.close()


def test_a_depth_not_read_is_added_the_next_day(browser: Browser, shop: Shop, keep_screenshot: KeepScreenshot) -> None:
    context = opened(browser, shop, viewport=PHONE)
    page = context.new_page()
    planned = open_at(page, shop, "ST-3", "measure")
    page.goto(f"/drillings/{planned}")
    page.get_by_text("Add a depth that was not read").click()
    form = page.locator("form[action$='/depth-readings']")
    form.get_by_label("Of the").select_option("bore")
    form.get_by_label("Depth", exact=True).fill("2 49/64 collar")
    expect(form.get_by_label("Read on")).to_have_value(date.today().isoformat())
    form.get_by_role("button", name="Add this depth").click()
    expect(page.get_by_role("main")).to_contain_text("2 49⁄64")
    met = page.locator("details", has=page.get_by_text("As met at the bench", exact=True))
    expect(met).to_be_visible()
    expect(met).to_contain_text(re.compile(r"2\s49[/⁄]64"))
    keep_screenshot(page, "late-depth")
    context.close()


def test_a_step_is_skipped_with_its_reason(browser: Browser, shop: Shop) -> None:
    context = opened(browser, shop, viewport=PHONE)
    page = context.new_page()
    open_at(page, shop, "ST-4", "bevel")
    page.get_by_text("All steps").click()
    page.get_by_text("Skip this step").click()
    form = page.locator("form[action$='/skip']")
    form.get_by_role("button", name="Skip it").click()
    expect(page.locator("#skip-reason-error")).to_be_visible()
    form.get_by_label("Why it is not done").fill("done by hand")
    form.get_by_role("button", name="Skip it").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Lock the inner in and feel that it is home")
    expect(page.locator(".others")).to_contain_text("skipped: Bevel the sleeve's edge")
    page.get_by_text("All steps").click()
    expect(page.locator(".route .skipped")).to_contain_text("done by hand")
    context.close()
