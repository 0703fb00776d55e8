"""What is taken back, played: a plan called off, two records merged and parted, a ball sold."""

import pytest
from playwright.sync_api import Browser, Page, expect

from app.db import open_engine, sessions
from app.models import Bowler
from app.services import bowler_words
from tests.browser.conftest import KeepScreenshot, Shop, add_plan, opened
from tests.browser.test_bench import PHONE

pytestmark = pytest.mark.once


def give_reason(page: Page, why: str, button: str) -> None:
    """Fills the one open form that asks why, and sends it."""
    form = page.locator("form", has=page.get_by_role("button", name=button))
    form.get_by_label("Why").fill(why)
    form.get_by_title("Tadeo Birk").click()
    form.get_by_role("button", name=button).click()


@pytest.mark.parametrize("has_script", [True, False])
def test_a_plan_is_called_off_and_due_again(browser: Browser, shop: Shop, has_script: bool) -> None:
    number = add_plan(shop, "OFF-1")
    context = opened(browser, shop, viewport=PHONE, java_script_enabled=has_script)
    page = context.new_page()
    page.goto(f"/drillings/{number}")
    page.get_by_text("Call this plan off").click()
    give_reason(page, "the bowler left", "Not drilled")
    expect(page.get_by_role("main")).to_contain_text("before the first cut: the bowler left")
    page.goto("/bowlers/1")
    expect(page.get_by_role("listitem").filter(has_text="OFF-1")).to_contain_text("not drilled")
    expect(page.get_by_role("listitem").filter(has_text="OFF-1").get_by_text("Drill this ball")).to_be_visible()
    page.goto(f"/drillings/{number}")
    page.get_by_text("It is to be drilled after all").click()
    give_reason(page, "came back", "Plan it again as it was")
    expect(page.get_by_role("link", name="To the bench")).to_be_visible()
    context.close()


def test_two_records_become_one_and_are_parted_again(
    browser: Browser, shop: Shop, keep_screenshot: KeepScreenshot
) -> None:
    engine = open_engine(shop.database)
    with sessions(engine)() as session, session.begin():
        twin = Bowler(
            name="Ana Yonson", hand="left", phone="555 0177 4321", phone_digits="55501774321", phone_last4="4321"
        )
        session.add(twin)
        session.flush()
        bowler_words.index_bowler(session, twin)
    engine.dispose()
    context = opened(browser, shop, viewport=PHONE, java_script_enabled=False)
    page = context.new_page()
    page.goto("/bowlers/1/edit")
    page.get_by_role("link", name="The same person has another record").click()
    page.get_by_role("searchbox").fill("yonson")
    page.get_by_role("button", name="Find").click()
    page.get_by_role("link", name="Ana Yonson").click()
    page.get_by_label("How is it known").fill("told us at the counter")
    page.get_by_role("button", name="Make them one").click()
    expect(page.get_by_label("How is it known")).to_have_value("told us at the counter")
    expect(page.get_by_text("This question needs an answer.")).to_have_count(4)  # stays, name, phone, hand
    keep_screenshot(page, "merger-asked")
    for question in ("Which record stays", "Two names", "Two phone numbers", "One bowls right-handed"):
        page.get_by_role("group", name=question).locator("label").first.click()
    page.get_by_role("button", name="Make them one").click()
    page.goto("/?q=yonson")
    expect(page.locator("#results")).to_contain_text("Anna Johnson")
    page.goto(f"/bowlers/{twin.id}")
    expect(page).to_have_url(f"{shop}/bowlers/1")
    page.goto("/bowlers/1/balls/new")
    page.get_by_label("What you call it").fill("Whose ball")
    page.get_by_role("button", name="Save").click()
    page.goto("/bowlers/1")
    page.get_by_role("link", name="part them again").click()
    page.get_by_role("group", name="Whose ball").get_by_text("Ana Yonson").click()
    give_reason(page, "mother and daughter", "Part them")
    expect(page).to_have_url(f"{shop}/bowlers/{twin.id}")
    expect(page.get_by_role("heading", name="Ana Yonson")).to_be_visible()
    expect(page.get_by_role("link", name="Whose ball")).to_be_visible()
    context.close()


def test_a_ball_is_sold_and_both_bowlers_say_so(page: Page, shop: Shop) -> None:
    page.goto("/balls/1")
    page.get_by_role("link", name="Another bowler has it").click()
    page.get_by_role("searchbox").fill("piet")
    page.get_by_role("button", name="Find").click()
    page.get_by_role("link", name="Piet Olander").click()
    give_reason(page, "sold in May", "Move it")
    expect(page.locator(".title-block")).to_contain_text("Piet Olander")
    expect(page.get_by_role("main")).to_contain_text("of the former owner")
    page.goto("/bowlers/1")
    page.get_by_text("Went to another bowler").click()
    expect(page.get_by_role("main")).to_contain_text("to Piet Olander, sold in May")
    page.goto("/bowlers/2")
    expect(page.get_by_role("main")).to_contain_text("Anna Johnson’s until")
    page.goto("/balls/1")
    page.get_by_role("link", name="undo").click()
    give_reason(page, "not sold after all", "Give it back")
    expect(page.locator(".title-block")).to_contain_text("Anna Johnson")
