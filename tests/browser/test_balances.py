"""A balance predicted, judged under the example, weighed and kept; a left hand and a ball without a thumb hole."""

import re

import pytest
from playwright.sync_api import Browser, Page, expect
from sqlalchemy import select

from app.db import open_engine, sessions
from app.models import Ball, Bowler
from app.schemas.drillings import PlanForm
from app.schemas.fits import FitForm, InForceForm
from app.schemas.layouts import AxisPointForm
from app.services import axis_points, fits, plans
from seed_demo.world import FIT
from tests.browser.conftest import KeepScreenshot, Shop, opened
from tests.browser.test_bench import tap_initials
from tests.browser.test_every_page import overflow, problems, set_width
from tests.conftest import not_none

pytestmark = pytest.mark.once

START = "start_top=3+1/4&along=1&along_way=fingers&across=3/4&across_way=left"
THUMBLESS = {name: text for name, text in FIT.items() if not name.startswith("thumb")} | {
    "hand": "right", "grip_holes": "thumbless", "spans": "2 x 2 1/8", "system_id": "", "middle_pitch": "1/4 reverse, 0",
    "ring_pitch": "1/4 reverse, 0",
}  # fmt: skip


@pytest.fixture
def bench(shop: Shop, page: Page) -> Page:
    """A shop with the example of a regulation and a calibrated scale, at the bench's size."""
    add_axis_points(shop)
    page.set_viewport_size({"width": 1024, "height": 768})
    page.goto("/regulations")
    tap_initials(page)
    with page.expect_navigation():  # another address would call the form off on its way
        page.get_by_role("button", name="Add the example").click()
    page.goto("/scales")
    page.locator("#label").fill("Bench scale")
    page.locator("#resolution").fill("1/16")
    page.locator("#arm").fill("4 5/16")
    tap_initials(page)
    with page.expect_navigation():
        page.get_by_role("button", name="Save this scale").click()
    return page


def add_axis_points(shop: Shop) -> None:
    """The same axis point of Anna Johnson's right hand and of Piet Olander's left one."""
    engine = open_engine(shop.database)
    with sessions(engine)() as session, session.begin():
        for bowler_id, hand in ((1, "right"), (2, "left")):
            form = {"who": "2", "hand": hand, "point": "4 1/2 over 1/2 up", "found_by": "ring"}
            axis_points.add(session, session.get_one(Bowler, bowler_id), AxisPointForm.read(form))
    engine.dispose()


def plan_thumbless(shop: Shop) -> int:
    """Plans a ball for two fingers without a thumb hole; returns the drilling's id."""
    engine = open_engine(shop.database)
    with sessions(engine)() as session, session.begin():
        bowler = session.scalars(select(Bowler).where(Bowler.name == "Chiara Montani")).one()
        draft = fits.add_draft(session, bowler, FitForm.read(THUMBLESS | {"who": "2"}))
        fit = fits.put_in_force(session, draft.id, InForceForm.read({"who": "2", "version": str(draft.version)}))
        ball = Ball(bowler_id=bowler.id, label="Two finger", weight_lb=14, circumference_in=27)
        session.add(ball)
        session.flush()
        planned = plans.plan_drilling(session, ball, PlanForm.read({"who": "2", "fit_id": str(fit.id)})).id
    engine.dispose()
    return planned


def side_of(page: Page, row: str) -> str:
    words = page.get_by_role("row", name=re.compile(f"^{row}")).locator(".number").inner_text()
    return words.split(" oz ")[-1]


def look_everywhere(page: Page, keep_screenshot: KeepScreenshot, name: str) -> None:
    """axe finds nothing and nothing is cut off, on a phone, a tablet, a wide screen and on paper, light and dark."""
    for width in (360, 768, 1280):
        set_width(page, width)
        assert overflow(page) == 0, width
        for scheme in ("light", "dark"):
            page.emulate_media(color_scheme=scheme)
            page.wait_for_timeout(250)  # until colours have changed over
            assert problems(page) == []
            keep_screenshot(page, f"balance-{name}-{width}-{scheme}")
    page.emulate_media(media="print", color_scheme="light")
    keep_screenshot(page, f"balance-{name}-print")
    page.emulate_media(media="screen")
    set_width(page, 1024)


def test_a_ball_is_predicted_judged_and_weighed(bench: Page, keep_screenshot: KeepScreenshot) -> None:
    page = bench
    page.goto("/drillings/1")
    page.get_by_role("link", name="Static balance").click()
    expect(page.locator(".strip")).to_contain_text("Not known yet")
    keep_screenshot(page, "balance-missing")
    page.locator("#look-start_top").fill("3 1/4")
    for field, text, way in (("along", "1", "fingers"), ("across", "3/4", "left")):
        page.locator(f"#look-{field}").fill(text)
        page.locator(f"#look-{field}_way").select_option(way)
    page.get_by_role("button", name="Count with this").click()
    expect(page.locator(".strip.good")).to_contain_text("Inside, as predicted")
    expect(page.get_by_role("main")).to_contain_text("Example, check against the rules in force")
    assert side_of(page, "Right or left") == "left"
    assert side_of(page, "Towards the axis point") == "away"
    look_everywhere(page, keep_screenshot, "predicted")

    page.locator("#weigh-weight").fill("15 lb")
    for field, text in {
        "right_1": "1/2", "right_2": "1/2 left", "finger_1": "1 thumb", "finger_2": "7/8 thumb", "top_1": "2 top",
        "top_2": "1 7/8 top",
    }.items():  # fmt: skip
        page.locator(f"#weigh-{field}").fill(text)
    tap_initials(page)
    page.get_by_role("button", name="Keep this weighing").click()
    expect(page.locator("#weigh-right_1-error")).to_contain_text("Heavier on which side")
    expect(page.locator("#weigh-finger_2")).to_have_value("7/8 thumb")
    keep_screenshot(page, "balance-refused")
    page.locator("#weigh-right_1").fill("1/2 left")
    tap_initials(page)
    page.get_by_role("button", name="Keep this weighing").click()
    expect(page.locator("#weigh-as_read")).not_to_be_checked()
    keep_screenshot(page, "balance-asked")
    for field, turned in (("finger_1", "1 finger"), ("finger_2", "7/8 finger")):  # the other side agrees
        page.locator(f"#weigh-{field}-error button").click()
        expect(page.locator(f"#weigh-{field}")).to_have_value(turned)
    tap_initials(page)
    page.get_by_role("button", name="Keep this weighing").click()
    expect(page.locator(".strip.good")).to_contain_text("Weighed: inside")
    expect(page.locator(".explained")).to_contain_text("Difference")
    page.goto(f"/drillings/1/balance?{START}")
    expect(page.locator(".balance .weighed").first).to_be_visible()
    look_everywhere(page, keep_screenshot, "weighed")


def test_a_left_hand_is_the_mirror_image(browser: Browser, shop: Shop, bench: Page) -> None:
    page = bench
    page.goto(f"/drillings/3/balance?{START}")
    assert side_of(page, "Right or left") == "left"
    assert side_of(page, "Towards the axis point") == "towards"
    page.goto(f"/drillings/3/balance?{START.replace('across_way=left', 'across_way=right')}")
    assert side_of(page, "Right or left") == "right"
    context = opened(browser, shop, viewport={"width": 1024, "height": 768}, java_script_enabled=False)
    plain = context.new_page()
    plain.goto(f"/drillings/3/balance?{START}")
    expect(plain.locator(".weighed-ways")).to_be_visible()
    context.close()


def test_without_a_thumb_hole_what_is_outside_is_brought_inside(
    shop: Shop, bench: Page, keep_screenshot: KeepScreenshot
) -> None:
    page = bench
    drilling = plan_thumbless(shop)
    page.goto(f"/drillings/{drilling}/balance?start_top=4&along=0&across=5&across_way=left")
    expect(page.locator(".strip.bad")).to_contain_text("Outside, as predicted")
    expect(page.locator(".under")).to_contain_text("plus at the palm")
    assert side_of(page, "Finger or thumb") == "thumb side"
    page.locator("#remedies > summary").click()
    page.get_by_label("Grip across it").check()
    page.locator("#remedy-far_across").fill("2")
    page.get_by_role("button", name="Find what brings it inside").click()
    expect(page.locator(".remedies li").first).to_contain_text("Move the grip")
    expect(page.locator(".remedies li").first).to_contain_text("to the left")
    look_everywhere(page, keep_screenshot, "remedies")
    assert not_none(page.locator(".remedies li").count()) >= 1
