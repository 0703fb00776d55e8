"""The form of a fit is the paper card: its fields follow one another as they are read out, and nothing moves."""

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.browser.conftest import KeepScreenshot, Shop, opened
from tests.conftest import not_none

pytestmark = pytest.mark.once

# As a card is read out: (the field that the key must reach, what is typed there); None is passed by.
CARD = [
    ("spans", "4 x 4 1/8"), ("span_edges", "to the c"), ("bridge", "1/4"), ("bridge_edges", "between the c"),
    ("thumb_hole", "15/16"), ("thumb_pitch", "1/4 reverse, 0"), ("system_id", None), ("Off the centre line", None),
    ("middle_hole", "11/16"), ("middle_pitch", "1/4 reverse, 1/16 left"), ("middle_insert", None),
    ("middle_cut", "31/32"), ("middle_depth", "7/8"), ("Inside off", None),
    ("ring_hole", "21/32"), ("ring_pitch", "1/4 reverse, 1/8 right"), ("ring_insert", None),
    ("ring_cut", "31/32"), ("ring_depth", "7/8"), ("Inside off", None),
    ("hand_notes", None), ("What a clinician", None), ("reason", None),
]  # fmt: skip
LONGEST_PX = 1400  # two screens of 1280 by 900, less what the browser takes


def height(page: Page) -> int:
    found: int = page.evaluate("document.documentElement.scrollHeight")
    return found


def test_a_card_is_typed_in_its_order_by_keyboard_alone(page: Page, keep_screenshot: KeepScreenshot) -> None:
    page.goto("/bowlers/8/fits/new")
    before = height(page)
    page.locator("[name=style]:checked").focus()
    for name, text in CARD:
        page.keyboard.press("Tab")
        reached = page.evaluate("document.activeElement.name || document.activeElement.textContent.trim()")
        assert reached.startswith(name)
        if text is not None:
            page.keyboard.press("ControlOrMeta+a")
            page.keyboard.type(text)
    expect(page.locator("#sketch svg.grip[role]")).to_be_visible()
    expect(page.locator("#ring_pitch-read")).to_contain_text("one-eighth to the right")
    assert height(page) == before <= LONGEST_PX  # what was read back had its place
    keep_screenshot(page, "fit-card")
    page.keyboard.press("Enter")  # in the reason: the first button saves
    expect(page.get_by_role("heading", level=1)).to_contain_text("Fit A")


def test_the_fingers_lie_as_on_the_hand_and_the_folds_open_with_what_they_hold(browser: Browser, shop: Shop) -> None:
    context = opened(browser, shop, viewport={"width": 1280, "height": 900}, java_script_enabled=False)
    page = context.new_page()
    page.goto("/bowlers/8/fits/new")
    across: dict[str, list[float]] = {}
    for hand in ("right", "left"):
        page.get_by_label(f"{hand} hand").check()
        across[hand] = [not_none(page.locator(f"#{f}_hole").bounding_box())["x"] for f in ("middle", "ring")]
    assert across["right"] == sorted(across["right"])
    assert across["left"] == across["right"][::-1]
    page.locator("summary", has_text="Inside off").first.click()
    page.locator("#middle_lift").fill("askew")
    page.get_by_text("What a clinician said").click()
    page.locator("#clinician_notes").fill("rest it")
    page.get_by_role("button", name="Save draft").click()
    again = page.get_by_role("navigation", name="Fields to look at again")
    expect(again.get_by_role("link", name="middle lift")).to_have_attribute("href", "#middle_lift")
    expect(page.locator("#middle_lift")).to_have_value("askew")
    expect(page.locator("#middle_lift")).to_be_visible()
    expect(page.locator("#clinician_notes")).to_be_visible()
    expect(page.locator("#ring_lift")).to_be_hidden()
    context.close()


def test_a_refusal_goes_once_its_field_is_read_anew(page: Page) -> None:
    page.goto("/bowlers/8/fits/new")
    spans, error = page.locator("#spans"), page.locator("#spans-error")
    spans.fill("4 1l2 x 4")
    page.get_by_role("button", name="Save draft").click()
    expect(error).to_contain_text("4 1l2")
    expect(spans).to_have_attribute("aria-invalid", "true")
    spans.fill("4 1l8 x 4")
    spans.press("Tab")
    expect(error).to_contain_text("4 1l8")  # one alone
    expect(spans).to_have_attribute("aria-invalid", "true")
    spans.fill("4 1/8 x 4")
    spans.press("Tab")
    expect(page.locator("#spans-read")).to_contain_text("middle four and one-eighth; ring four")
    expect(error).to_have_count(0)
    expect(spans).not_to_have_attribute("aria-invalid", "true")


def test_a_choice_of_a_second_refusal_fills_its_field_and_keeps_the_focus(page: Page) -> None:
    page.goto("/settings")
    page.evaluate("for (const fold of document.querySelectorAll('details')) fold.open = true")
    field, error = page.locator("#tolerance-value"), page.locator("#tolerance-value-error")
    field.fill("1/8+-")
    page.locator("form[action='/settings/tolerance']").get_by_role("button", name="Set", exact=True).click()
    expect(field).to_have_attribute("aria-invalid", "true")
    expect(error.get_by_role("button", name="1/8", exact=True)).to_be_visible()
    field.fill("1/16+-")
    field.press("Tab")  # to a choice of the first refusal, which is replaced
    expect(error.get_by_role("button", name="1/16", exact=True)).to_be_visible()
    expect(error.get_by_role("button").first).to_be_focused()
    error.get_by_role("button", name="1/16", exact=True).click()
    expect(field).to_have_value("1/16")
    expect(error).to_have_count(0)
