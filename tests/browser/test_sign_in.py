"""Signing in, acting by PIN and losing a race, in a real browser on a plain network."""

import re
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, expect

from app.db import open_engine
from seed_demo import PASSWORD, PIN
from tests.browser.conftest import PATIENCE_MS, KeepScreenshot, Shop, opened
from tests.browser.test_every_page import overflow, problems
from tests.browser.test_story import sign


@pytest.fixture
def stranger(browser: Browser, shop: Shop) -> Iterator[Callable[..., Page]]:
    """A browser nobody has signed in on, with or without scripts."""
    contexts = []

    def open_one(**options: Any) -> Page:
        context = browser.new_context(base_url=shop, **options)
        context.set_default_timeout(PATIENCE_MS)
        contexts.append(context)
        return context.new_page()

    yield open_one
    for context in contexts:
        context.close()


def sign_in(page: Page, name: str, password: str = PASSWORD) -> None:
    page.get_by_label("Your name, or the one you sign in with").fill(name)
    page.get_by_label("Password").fill(password)
    page.get_by_role("button", name="Sign in").click()


@pytest.mark.parametrize("scripts", [True, False], ids=["scripts", "no scripts"])
def test_somebody_signs_in_where_they_were_going_and_out_again(
    stranger: Callable[..., Page], scripts: bool, keep_screenshot: KeepScreenshot
) -> None:
    page = stranger(java_script_enabled=scripts)
    page.goto("/bowlers/1")
    expect(page.get_by_role("heading", level=1)).to_have_text("Sign in")
    if scripts:
        keep_screenshot(page, "sign-in")
        assert problems(page) == []
    sign_in(page, "ol", "wrong words")
    expect(page.get_by_role("alert")).to_contain_text("do not go together")
    expect(page.get_by_label("Your name, or the one you sign in with")).to_have_value("ol")
    expect(page.get_by_label("Password")).to_have_value("")
    sign_in(page, "OL")
    expect(page.get_by_role("heading", level=1)).to_have_text("Anna Johnson")
    page.get_by_role("link", name="OL: my account").click()
    page.get_by_role("button", name="Sign out", exact=True).click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Sign in")
    page.goto("/bowlers/1")
    expect(page.get_by_role("heading", level=1)).to_have_text("Sign in")


def test_another_acts_by_pin_on_the_same_form_with_nothing_lost(page: Page, keep_screenshot: KeepScreenshot) -> None:
    page.goto("/bowlers/new")
    page.get_by_label("Name").fill("Dora Kettle")
    page.get_by_label("left hand").check()
    form = page.locator("form", has=page.get_by_role("button", name="Save", exact=True))
    form.get_by_role("radio", name="OL", exact=True).check()
    form.get_by_label("PIN, if another person signs").fill("0000")
    form.get_by_role("button", name="Save").click()
    expect(form.get_by_text("That is not the PIN of OL.")).to_be_visible()
    expect(page.get_by_label("Name")).to_have_value("Dora Kettle")
    keep_screenshot(page, "pin")
    assert problems(page) == []
    form.get_by_label("PIN, if another person signs").fill(PIN)
    form.get_by_role("button", name="Save").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Dora Kettle")
    expect(page.get_by_role("link", name="OL: my account")).to_be_visible()
    page.get_by_text(re.compile("^History")).click()
    expect(page.locator(".history li").first).to_contain_text("OL")


def test_a_form_typed_while_signed_out_is_sent_again_after_signing_in(browser: Browser, shop: Shop) -> None:
    context = opened(browser, shop)
    page = context.new_page()
    page.goto("/bowlers/new")
    page.get_by_label("Name").fill("Dora Kettle")
    page.get_by_label("left hand").check()
    context.clear_cookies()
    page.get_by_role("button", name="Save").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("You were signed out before this was saved")
    assert problems(page) == []
    with context.expect_page() as tab:
        page.get_by_role("link", name="1. Sign in, in another tab").click()
    sign_in(tab.value, "rv")
    expect(tab.value.get_by_role("link", name="RV: my account")).to_be_visible()
    page.get_by_role("button", name="2. Send it again").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Dora Kettle")
    context.close()


def test_the_loser_of_a_race_sees_both_and_takes_over_what_was_saved(
    browser: Browser, shop: Shop, keep_screenshot: KeepScreenshot
) -> None:
    first, second = opened(browser, shop), opened(browser, shop)
    pages = [context.new_page() for context in (first, second)]
    for page, phone in zip(pages, ("555 0142 0001", "555 0142 0002"), strict=True):
        page.goto("/bowlers/1/edit")
        page.get_by_label("Phone").fill(phone)
    pages[0].get_by_label("Notes").fill("prefers mornings")
    for page in pages:
        sign(page, "Save")
    late = pages[1]
    both = late.get_by_role("region", name="Saved meanwhile, and typed by you").first
    expect(both.get_by_role("row", name=re.compile("^phone"))).to_contain_text("555 0142 0001")
    expect(both.get_by_role("row", name=re.compile("^phone"))).to_contain_text("555 0142 0002")
    keep_screenshot(late, "conflict")
    assert problems(late) == []
    late.set_viewport_size({"width": 360, "height": 740})
    assert overflow(late) <= 0
    both.get_by_role("button", name="prefers mornings").click()
    expect(late.get_by_label("Notes")).to_have_value("prefers mornings")
    expect(late.get_by_label("Phone")).to_have_value("555 0142 0002")
    sign(late, "Save")
    expect(late.locator(".title-block")).to_contain_text("555 0142 0002")
    expect(late.get_by_text("prefers mornings").first).to_be_visible()
    for context in (first, second):
        context.close()


def test_an_owner_lets_somebody_in_with_a_code(
    page: Page, stranger: Callable[..., Page], keep_screenshot: KeepScreenshot
) -> None:
    page.goto("/people")
    page.get_by_label("Name", exact=True).first.fill("Nia Holt")
    page.get_by_label("Initials").fill("NH")
    page.get_by_label("Role").select_option("counter")
    page.get_by_role("button", name="Add", exact=True).click()
    code = page.locator("code").first.inner_text()
    keep_screenshot(page, "people")
    assert problems(page) == []
    new = stranger(viewport={"width": 360, "height": 740})
    new.goto("/welcome")
    assert problems(new) == []
    assert overflow(new) <= 0
    new.get_by_label("Name to sign in with").fill("nh")
    new.get_by_label("Code from the owner").fill(code)
    new.get_by_label("Password").fill("eleven green bottles")
    new.get_by_label("PIN for the shared bench").fill("7391")
    new.get_by_role("button", name="Open it").click()
    expect(new.get_by_role("link", name="NH: my account")).to_be_visible()
    expect(new.get_by_role("link", name="People")).to_have_count(0)
    new.goto("/people")
    expect(new.get_by_role("heading", level=1)).to_have_text("That is for the owner to do.")


def test_the_counter_offers_a_new_bowler_once(page: Page) -> None:
    page.goto("/")
    expect(page.get_by_role("link", name="New bowler")).to_have_count(1)
    page.keyboard.type("zzz")
    expect(page.get_by_role("link", name="New bowler “zzz”")).to_be_visible()
    expect(page.get_by_role("link", name="New bowler")).to_have_count(1)


def test_a_page_of_another_site_cannot_save_here(browser: Browser, shop: Shop) -> None:
    """The form lies on another made-up host of the same machine; the browser would send the cookie along if it might."""
    context = opened(browser, shop)
    page = context.new_page()
    port = shop.rsplit(":", 1)[1]
    body = f'<form method="post" action="{shop}/bowlers"><input name="name" value="Forged"><input name="hand" value="left"><button>Win</button></form>'
    page.route("http://127.0.0.1:*/forged", lambda route: route.fulfill(body=body, content_type="text/html"))
    page.goto(f"http://127.0.0.1:{port}/forged")
    page.get_by_role("button", name="Win").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("That form came from another site, so nothing was saved.")
    page.goto("/?q=forged")
    expect(page.locator("#results a.row")).to_have_count(0)
    context.close()


@pytest.mark.once
def test_no_request_leaves_for_another_host(page: Page, shop: Shop) -> None:
    from tests.pages.test_pages import PAGES

    asked = []
    page.on("request", lambda request: asked.append(request.url))
    for url in [*PAGES[:20], "/people", "/me"]:
        page.goto(url)
    assert {url for url in asked if not url.startswith((shop, "data:"))} == set()


def test_a_screen_signed_out_meanwhile_stays_with_what_is_typed_on_it(browser: Browser, shop: Shop) -> None:
    engine = open_engine(shop.database)
    page = opened(browser, shop).new_page()
    page.goto("/bowlers/8/fits/new")
    page.locator("#hand_notes").fill("a long note")
    with engine.begin() as connection:
        connection.exec_driver_sql("UPDATE sign_in SET ended_at = seen_at")
    engine.dispose()
    page.locator("#bridge").fill("1/4")
    page.keyboard.press("Tab")
    expect(page.locator(".signed-out")).to_be_visible()
    expect(page.locator("#hand_notes")).to_have_value("a long note")
    page.get_by_role("button", name="Save draft").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("signed out before this was saved")
    assert page.locator("[name=hand_notes]").input_value() == "a long note"
    page.goto("/")
    expect(page).to_have_url(re.compile("/sign-in"))
    page.context.close()
