"""An inner that the bowler owns, played in the browser: made here, and made by another shop."""

import re

import pytest
from playwright.sync_api import Browser, Page, expect
from sqlalchemy import select

from app.calculation.bores import Bore
from app.db import open_engine, sessions
from app.models import Bowler, Fit
from app.schemas.fits import FitForm, InForceForm
from app.schemas.inners import VisitorForm
from app.services import fits, visitors
from seed_demo.world import FIT
from tests.browser.conftest import KeepScreenshot, Shop, opened, tick_before
from tests.browser.test_bench import PHONE, tap_initials
from tests.calculation.test_owned_inners import surface
from tests.conftest import not_none

pytestmark = pytest.mark.once


def tick_all(page: Page, shop: Shop, rim: dict[str, str], depth: str = "2 3/4 collar") -> list[str]:
    """Every step ticked up to measuring, what is read of depth and rim typed on the page; answers the steps' words."""
    drilling_id = int(not_none(re.search(r"/drillings/(\d+)", page.url))[1])
    for action, typed in (("bore", {"Depth met": depth}), ("read_rim", rim)):
        if typed:
            tick_before(shop, drilling_id, action)
            page.reload()
            heading = page.get_by_role("heading", level=1).inner_text()
            for label, text in typed.items():
                if label == "Depth met":
                    page.get_by_role("radio", name="type", exact=True).check()
                page.get_by_label(label).fill(text)
            page.get_by_role("button", name="Done", exact=True).click()
            expect(page.get_by_role("heading", level=1)).not_to_have_text(heading)
    tick_before(shop, drilling_id, "measure")
    page.reload()
    words = page.locator(".route b").all_text_contents()
    page.get_by_role("link", name="Measure and close").click()
    return words


def start(page: Page, serial: str, bowler_id: int = 1) -> None:
    page.goto(f"/bowlers/{bowler_id}/balls/new")
    page.get_by_label("What you call it").fill("Press ball")
    page.get_by_label("Serial").fill(serial)
    tap_initials(page)
    page.get_by_role("button", name="Save").click()
    page.get_by_role("link", name="Drill this ball").click()


def test_a_second_ball_for_an_inner_that_was_made_here(
    browser: Browser, shop: Shop, keep_screenshot: KeepScreenshot
) -> None:
    context = opened(browser, shop, viewport=PHONE)
    page = context.new_page()
    page.goto("/systems/1")
    expect(page.get_by_role("main")).to_contain_text("3 of 1 1/4")
    start(page, "PB-1")
    page.get_by_role("button", name="Save this plan").click()
    page.get_by_role("link", name="To the bench").click()
    assert "Drill through the inner" in tick_all(page, shop, {})
    made = page.get_by_role("link", name="inner of Press ball")
    expect(made).to_be_visible()
    page.goto("/systems/1")
    expect(page.get_by_role("main")).to_contain_text("2 of 1 1/4")

    start(page, "PB-2")
    page.get_by_text("change", exact=True).click()
    chooser = page.get_by_label("What goes into the thumb bore")
    chooser.select_option(label="inner of Press ball, 1 1/4, Twist lock, floor seated")
    expect(page.locator("#numbers")).to_contain_text("Felt first, planned")
    keep_screenshot(page, "owned-inner-plan")
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]
    page.get_by_role("button", name="Save this plan").click()
    page.get_by_role("link", name="To the bench").click()
    rim = {"Rim at 12 o'clock": "1/64 proud", "Rim at 3 o'clock": "flush", "Rim at 6 o'clock": "1/64 sunk"}
    steps = tick_all(page, shop, rim)
    assert not [s for s in steps if "Drill through" in s or "inner flush" in s or "oval" in s or "Bevel the thumb" in s]
    home = steps.index("Lock the bowler's own inner in and feel that it is home")
    assert "Cut the sleeve flush with the ball" in steps[:home]
    read = page.locator("section", has=page.get_by_role("heading", name="Rim of the bowler's own inner"))
    expect(read).to_contain_text("+1/64 proud")
    expect(read).to_contain_text("not read")
    keep_screenshot(page, "owned-inner-drilling")
    page.get_by_role("link", name="inner of Press ball").first.click()
    fitted = page.get_by_text("Made or fitted in").first
    expect(fitted.get_by_role("link")).to_have_count(2)
    page.goto("/systems/1")
    expect(page.get_by_role("main")).to_contain_text("2 of 1 1/4")
    context.close()


def take_in(shop: Shop, **told: str) -> tuple[int, int]:
    """Takes in a second inner of Vern Castellan's, trimmed by Northgate, with a fit in force; (bowler, inner) ids."""
    engine = open_engine(shop.database)
    with sessions(engine)() as session, session.begin():
        vern = session.scalars(select(Bowler).where(Bowler.name == "Vern Castellan")).one()
        who = {"who": "2", "hand": "right", "system_id": "1"}
        draft = fits.add_draft(session, vern, FitForm.read(FIT | who))
        session.flush()
        fits.put_in_force(session, draft.id, InForceForm.read(who | {"version": str(draft.version)}))
        came = {"bowler_id": str(vern.id), "shop_id": "2", "outside": "1 1/4", "thumb_hole": "15/16 + 1/16 @ 45 right"}
        inner = visitors.take_in(session, VisitorForm.read(who | came | {"notch": "6:00", "tilt": "0, 0"} | told))
        session.flush()
        found = vern.id, inner.id
        assert session.scalars(select(Fit).where(Fit.bowler_id == vern.id, Fit.state == "in force")).one()
    engine.dispose()
    return found


def choose(page: Page, inner_id: int) -> None:
    page.get_by_text("change", exact=True).click()
    page.get_by_label("What goes into the thumb bore").select_option(str(inner_id))


RIM = {"Rim at 12 o'clock": "1/64 proud", "Rim at 3 o'clock": "flush", "Rim at 6 o'clock": "flush"}


def test_a_ball_for_another_shops_inner_of_known_pitch(browser: Browser, shop: Shop) -> None:
    bowler_id, inner_id = take_in(shop, bore_pitch="1/4 reverse, 0")
    context = opened(browser, shop, viewport=PHONE)
    page = context.new_page()
    start(page, "NG-80", bowler_id)
    choose(page, inner_id)
    owned = page.get_by_label("The bowler's own inner", exact=True)
    expect(page.get_by_role("main")).to_contain_text("Felt first, planned")
    expect(owned).to_contain_text("measure first")  # a depth that another shop told does not make it green
    expect(page.get_by_role("main")).to_contain_text("Northgate Drilling usually bores so")
    page.get_by_role("button", name="Save this plan").click()
    page.get_by_role("link", name="To the bench").click()
    steps = tick_all(page, shop, RIM, "2 11/16 collar")
    assert "Bore to the collar" in steps
    assert not [s for s in steps if "Drill through" in s or "inner flush" in s or "Bevel the thumb" in s]
    read = page.locator("section", has=page.get_by_role("heading", name="Rim of the bowler's own inner"))
    expect(read).to_contain_text("from the bore as made")
    context.close()


def test_a_ball_for_another_shops_inner_of_unknown_pitch(
    browser: Browser, shop: Shop, keep_screenshot: KeepScreenshot
) -> None:
    """Bored shallow and deepened by trial; then the pitch is read off the loose inner, and the next plan knows it."""
    bowler_id, inner_id = take_in(shop, bore_pitch="unknown")
    context = opened(browser, shop, viewport=PHONE)
    page = context.new_page()
    start(page, "NG-81", bowler_id)
    choose(page, inner_id)
    owned = page.get_by_label("The bowler's own inner", exact=True)
    for words in ("measure first", "anywhere on its rim", "read it off the loose inner"):
        expect(owned).to_contain_text(words)
    expect(page.get_by_role("main")).to_contain_text("all possible values")
    expect(owned.locator(".good")).to_have_count(0)
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]
    keep_screenshot(page, "owned-inner-unknown-pitch")
    page.get_by_role("button", name="Save this plan").click()
    page.get_by_role("link", name="To the bench").click()
    steps = tick_all(page, shop, RIM, "2 11/16 collar")
    assert [s for s in steps if s.startswith("Bore shallow first")]
    read = page.locator("section", has=page.get_by_role("heading", name="Rim of the bowler's own inner"))
    expect(read).to_contain_text("cannot say")

    page.get_by_role("link", name="from Northgate Drilling").first.click()
    page.get_by_role("link", name="Read its bore off the loose inner").click()
    made = Bore(27, 1.5, 2.6875, -0.25, 0)
    heights = surface(made, 0.625, 0.0) + made.depth_in
    for clock, height in zip(("12", "3", "6", "9"), heights[::90], strict=True):
        page.get_by_label(f"Height at {clock} o'clock").fill(f"{height:.4f}")
    page.get_by_role("button", name="Work it out").click()
    tap_initials(page)
    page.get_by_role("button", name="Save as the depth of Northgate Drilling").click()

    start(page, "NG-82", bowler_id)
    choose(page, inner_id)
    expect(page.get_by_role("main")).to_contain_text("Felt first, planned")
    expect(owned).not_to_contain_text("anywhere on its rim")
    expect(page.get_by_role("main")).to_contain_text("2 11⁄16")
    context.close()
