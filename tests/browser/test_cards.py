"""A card printed by one demo shop is photographed badly and read by another, which then says how its inner will sit."""

import io
import random
import re
from fractions import Fraction
from pathlib import Path

import pytest
from PIL import Image
from playwright.sync_api import Browser, Page, expect
from sqlalchemy import select

from app.cards.texts import to_lines
from app.db import open_engine, sessions
from app.measures.wording import exact
from app.models import Inner
from app.schemas.identities import SetupForm
from app.schemas.systems import DepthForm, SystemForm
from app.services import depths, inners, shops, systems, visitors
from app.settings import Settings
from seed_demo.world import PASSWORD, PIN, TWIST_LOCK
from tests.browser.conftest import KeepScreenshot, Shop, opened, serve
from tests.cards.photographs import CARD_DOTS, photograph
from tests.conftest import Databases, not_none
from tests.services.cards import copy_inner, open_made

pytestmark = pytest.mark.once
TRIMMED_IN, THEIR_DEPTH_IN = Fraction(11, 4), Fraction(87, 32)  # the truth of this simulation, inches
TRUE_PROUD_IN = float(TRIMMED_IN - THEIR_DEPTH_IN)  # at the same pitch: what the seat is shallower, the rim is proud


def set_up_elsewhere(url: str) -> None:
    """Sets up a second shop, which has such hardware and bores at another depth, and never saw the first."""
    engine = open_engine(url)
    with sessions(engine)() as session, session.begin():
        owner = {"staff_name": "Tova Brandt", "initials": "TB", "password": PASSWORD, "pin": PIN}
        shops.set_up(session, SetupForm.read(owner | {"shop_name": "Second Lane", "town": "Far Mere"}))
        who = {"who": "1"}
        system = systems.add(session, SystemForm.read(TWIST_LOCK | who | {"label": "Locks clockwise", "stock": ""}))
        for day in (1, 2, 3, 4):
            read = {
                "system_id": str(system.id),
                "depth": exact(THEIR_DEPTH_IN),
                "datum": "collar",
                "resolution": "1/64",
            }
            read |= {"obtained": "collar_measured", "observed_on": f"2026-01-0{day}"}
            depths.observe(session, 1, DepthForm.read(who | read))
    engine.dispose()


def print_card(page: Page) -> Image.Image:
    """Issues Anna Johnson's card and returns the printed side with the code, ten dots a millimetre."""
    page.goto("/bowlers/1/card")
    page.get_by_role("button", name="Issue revision 1").click()
    expect(page.get_by_role("heading", name="Revision 1")).to_be_visible()
    page.goto(not_none(page.get_by_role("link", name="Print the wallet card").get_attribute("href"))[: -len(".pdf")])
    shown = Image.open(io.BytesIO(page.locator(".back .travelling").screenshot())).convert("L")
    card = Image.new("L", CARD_DOTS, 250)
    side = round(float(not_none(page.locator(".back svg").get_attribute("width")).removesuffix("mm")) * 10)
    card.paste(shown.resize((side, side), Image.Resampling.LANCZOS), (10, (CARD_DOTS[1] - side) // 2))
    return card


def test_a_card_printed_here_is_read_there_and_its_inner_predicted(
    browser: Browser, shop: Shop, all_databases: dict[str, Databases], tmp_path: Path, keep_screenshot: KeepScreenshot
) -> None:
    with opened(browser, shop) as here:
        photo = photograph(print_card(here.new_page()), random.Random(18))
    elsewhere = all_databases["sqlite"].copied(all_databases["sqlite"].empty)
    set_up_elsewhere(elsewhere)
    settings = Settings(database_url=elsewhere, hosts="shop.test", backup_folder=str(tmp_path / "copies"))
    with serve(settings) as second:
        context = opened(browser, second, viewport={"width": 1280, "height": 900}, java_script_enabled=False)
        there = context.new_page()
        there.goto("/visitors")
        there.get_by_role("link", name="read it").click()
        there.get_by_label("Picture or file").set_input_files(
            {"name": "card.jpg", "mimeType": "image/jpeg", "buffer": photo}
        )
        there.get_by_role("button", name="Read it").click()
        expect(there.get_by_text("Unknown shop.")).to_be_visible()
        keep_screenshot(there, "card-preview")
        there.get_by_role("button", name="Take it in").click()
        there.get_by_role("link", name=re.compile("an inner")).click()
        expect(there.get_by_role("heading", level=1)).to_contain_text("Blue pearl")
        inner_id = int(not_none(re.search(r"/inners/(\d+)", there.url))[1])
        words = there.locator("main").inner_text()
        context.close()
    assert "proud" in words
    assert_predicted(second, inner_id)


def assert_predicted(shop: Shop, inner_id: int) -> None:
    """The prediction, with its interval, is right of the truth: both depths are told apart to a 64th."""
    engine = open_engine(shop.database)
    with sessions(engine)() as session:
        found = visitors.predict_in_our_bore(session, inners.get_inner(session, inner_id), None, None)
        told = not_none(found.in_bore)
        assert [o.known.balls for o in not_none(found.foreign).stated] == [2]
        assert told.flushness.centre_in == pytest.approx(TRUE_PROUD_IN, abs=1 / 128)
        low, high = told.flushness.lowest_in - told.half_width_in, told.flushness.highest_in + told.half_width_in
        assert low <= TRUE_PROUD_IN <= high
    engine.dispose()


NARROW, TALLEST_PX = {"width": 360, "height": 740}, 2000
TOLD = "dl.card-words dd"


def read_card(page: Page, text: str) -> None:
    page.goto("/cards/read")
    page.get_by_label("Or its text").fill(text)
    page.get_by_role("button", name="Read it").click()
    expect(page.get_by_text("Read whole.")).to_be_visible()


def height_of(page: Page) -> int:
    return int(page.evaluate("document.documentElement.scrollHeight"))


def count_seen(page: Page) -> int:
    """How many of the card's values can be seen."""
    return sum(one.is_visible() for one in page.locator(TOLD).all())


def add_second_inner(shop: Shop) -> None:
    engine = open_engine(shop.database)
    with sessions(engine)() as session, session.begin():
        copy_inner(session, not_none(session.scalar(select(Inner).where(Inner.bowler_id == 1))))
    engine.dispose()


@pytest.mark.parametrize("scripted", [True, False])
def test_a_card_of_two_inners_is_short_on_a_telephone_and_whole_on_paper(
    browser: Browser, shop: Shop, scripted: bool
) -> None:
    add_second_inner(shop)
    with opened(browser, shop, viewport=NARROW, java_script_enabled=scripted) as context:
        page = context.new_page()
        read_card(page, to_lines(open_made().data))
        preview_px, drawn = height_of(page), page.locator(".card-grip svg.grip").count()
        page.locator("details.card-part > summary").first.click()
        expect(page.locator("details.card-part dl").first).to_be_visible()
        page.goto("/bowlers/1/card")
        page.get_by_role("button", name="Issue revision 1").click()
        expect(page.get_by_role("heading", name="Revision 1")).to_be_visible()
        heights = preview_px, height_of(page)
        drawn += page.locator(".card-grip svg.grip").count()
        page.emulate_media(media="print")
        assert count_seen(page) == page.locator(TOLD).count() > 40
    assert drawn == 2
    assert max(heights) <= TALLEST_PX, heights
