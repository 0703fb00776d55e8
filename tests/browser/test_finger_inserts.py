"""An insert with a lift: taken into the shop's hardware, chosen in a fit, planned, printed."""

import re

import pytest
from playwright.sync_api import Browser, expect

from tests.browser.conftest import KeepScreenshot, Shop, opened
from tests.browser.test_fewer_holes import BOWLER, FINGER, THUMB
from tests.browser.test_owned_inners import start
from tests.browser.test_story import leave, sign

pytestmark = pytest.mark.once


def test_an_insert_with_a_lift_from_the_shelf_to_the_print(
    browser: Browser, shop: Shop, keep_screenshot: KeepScreenshot
) -> None:
    page = opened(browser, shop, viewport={"width": 1280, "height": 900}).new_page()
    page.goto("/systems/new")
    page.get_by_label("a finger", exact=True).check()
    filled = {"label": "Lift insert 31/32", "bore": "31/32", "inner_ods": "11/16", "lift": "1/16 @ 6:00"}
    for field, text in filled.items():
        page.locator(f"#{field}").fill(text)
    expect(page.get_by_label("How its height is set")).to_be_hidden()
    sign(page, "Save")
    expect(page.get_by_role("main")).to_contain_text("0.0625 off the axis towards 6:00")
    keep_screenshot(page, "insert-hardware")

    page.goto(f"/bowlers/{BOWLER}/fits/new")
    leave(page, "Spans, middle × ring", "4 x 4 1/8")
    page.get_by_label("Spans were measured").select_option("finished")
    page.locator("#bridge").fill("1/4")
    page.get_by_label("Bridge was measured").select_option("cut")
    filled = {f"{finger}_{part}": text for finger in ("middle", "ring") for part, text in FINGER.items()} | THUMB
    for name, text in (filled | {"middle_cut": ""}).items():
        page.locator(f"#{name}").fill(text)
    page.locator("#middle_insert").select_option("Lift insert 31/32")
    page.locator("#hand_notes").focus()
    expect(page.locator("#sketch svg.grip")).to_be_visible()
    keep_screenshot(page, "insert-fit-form")
    sign(page, "Save draft")
    expect(page.get_by_role("main")).to_contain_text(
        re.compile(r"Lift insert 31/32,\s.*0.0625\s+off the axis towards\s+6:00")
    )
    sign(page, "Put in force")
    start(page, "IN-1", BOWLER)
    expect(page.locator("#numbers svg.grip")).to_be_visible()
    keep_screenshot(page, "insert-plan")
    sign(page, "Save this plan")
    drilling = int(page.url.rsplit("/", 1)[1])
    page.goto(f"/drillings/{drilling}/sheet")
    row = page.locator("table.cuts tr").filter(has_text="Middle")
    expect(row).to_contain_text("Lift insert 31/32")
    expect(row).to_contain_text("off the axis towards 6:00")
    keep_screenshot(page, "insert-sheet")
    page.context.close()
