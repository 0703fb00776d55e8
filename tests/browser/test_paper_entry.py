"""A stack of paper cards typed off by keyboard, its keys counted; then the second look."""

from pathlib import Path

import pytest
from PIL import Image, ImageDraw
from playwright.sync_api import Browser, Page, expect
from sqlalchemy import func, select

from app.db import READ_ONLY, open_engine, sessions
from app.models import Bowler, Fit, PaperCard
from tests.browser.conftest import KeepScreenshot, Shop, opened
from tests.browser.test_every_page import problems
from tests.conftest import not_none
from tests.photos.made import write

pytestmark = pytest.mark.once
MOST_KEYS = 90  # of a whole card of three holes, from one empty page to the next
COUNTS = "addEventListener('keydown', () => sessionStorage.keys = Number(sessionStorage.keys || 0) + 1, true)"
CARD = ("Ulla Perrin, r", "4 3/8 1/4r 1/8l 3/4", "4 1/2 1/8r 1/8l 25/32", "1/4r 1/8l 31/32", "b 1/4; fitted")
MIDDLE, RING, THUMB = "4 3/8 0 0 3/4", "4 1/2 0 0 25/32", "1/4r 0 31/32"


def draw_card(lines: tuple[str, ...]) -> bytes:
    """A picture of an invented card, written on a computer."""
    picture = Image.new("RGB", (1000, 640), "ivory")
    pen = ImageDraw.Draw(picture)
    for at, text in enumerate(("CARD", *lines)):
        pen.text((60, 50 + 90 * at), text, fill="navy", font_size=52)
    return write(picture)


def begin(page: Page, tmp_path: Path, pictures: int = 0) -> None:
    """A stack in front of somebody, every convention of the house said with a key, its first card open and empty."""
    page.goto("/moving-in/cards")
    page.get_by_label("A new stack").fill("Drawer A")
    page.get_by_role("button", name="Begin it").click()
    files = [tmp_path / f"card {n}.jpg" for n in range(pictures)]
    for file in files:
        file.write_bytes(draw_card(CARD))
    if files:
        page.get_by_label("Pictures of cards").set_input_files([str(file) for file in files])
        page.get_by_role("button", name="Add them to the stack").click()
    page.get_by_role("button", name="Type the next card").click()
    for key in "SBPLVUY":
        expect(page.get_by_label("Name, hand")).to_be_focused()
        with page.expect_navigation():
            page.keyboard.press(f"Alt+{key}")
    expect(page.locator(".ways")).to_contain_text("to the cut edges")


def type_card(page: Page, *lines: str) -> None:
    """Types the lines and sends the card, by keys alone."""
    for line in lines:
        page.keyboard.type(line)
        page.keyboard.press("Enter")
    if len(lines) < len(CARD):
        page.keyboard.press("Enter")


def count_cards(shop: Shop, *states: str) -> int:
    engine = open_engine(shop.database)
    with sessions(engine)() as session:
        session.connection(execution_options=READ_ONLY)
        found = session.scalar(select(func.count(PaperCard.id)).where(PaperCard.state.in_(states)))
    engine.dispose()
    return found or 0


def test_a_whole_card_takes_few_keys(page: Page, shop: Shop, tmp_path: Path, keep_screenshot: KeepScreenshot) -> None:
    begin(page, tmp_path, pictures=2)
    page.evaluate(COUNTS)
    page.evaluate("sessionStorage.keys = 0")
    first = page.url
    with page.expect_navigation(url=lambda url: url != first):
        type_card(page, *CARD)
    shifted = sum(letter.isupper() or letter in ":" for line in CARD for letter in line)  # the keyboard sends none
    keys = int(page.evaluate("sessionStorage.keys")) + shifted
    print(f"\n{keys} keys for a card of three holes")
    expect(page.get_by_label("Name, hand")).to_be_focused()
    expect(page.get_by_label("Name, hand")).to_have_value("")
    assert keys <= MOST_KEYS
    assert keys >= sum(len(line) + 1 for line in CARD)  # every key was counted
    assert count_cards(shop, "typed") == 1


def test_a_card_is_read_back_while_it_is_typed(
    page: Page, shop: Shop, tmp_path: Path, keep_screenshot: KeepScreenshot
) -> None:
    begin(page, tmp_path, pictures=1)
    for line in CARD[:-1]:
        page.keyboard.type(line)
        page.keyboard.press("Enter")
    page.keyboard.type(CARD[-1])
    expect(page.locator("#read-middle")).to_contain_text("one-quarter reverse; one-eighth to the left")
    expect(page.locator("#drawing svg").first).to_be_visible()
    for width in (1280, 768, 360):
        page.set_viewport_size({"width": width, "height": 900})
        keep_screenshot(page, f"card-entry-{width}")
        assert problems(page) == []
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")


def test_what_is_typed_is_kept_until_its_card_is_saved(page: Page, shop: Shop, tmp_path: Path) -> None:
    begin(page, tmp_path)
    first, texts = page.url, ("Ulla Perrin, r", "4,375 0 0 3/4", RING, THUMB, "")

    def expect_kept() -> None:
        for label, text in zip(("Name, hand", "Middle finger", "Ring finger", "Thumb"), texts, strict=False):
            expect(page.get_by_label(label)).to_have_value(text)
        expect(page.locator("#read-name")).to_contain_text("Ulla Perrin, right hand")

    type_card(page, *texts[:4])
    expect(page.locator(".question :focus")).to_have_count(1)  # refused
    page.get_by_role("link", name="The stack").click()
    page.go_back()
    expect_kept()
    page.reload()
    expect_kept()
    page.get_by_label("Middle finger").fill("4 3/8 0 0 3/4")
    with page.expect_navigation(url=lambda url: url != first):
        page.get_by_role("button", name="Save, next card").click()
    expect(page.get_by_label("Name, hand")).to_have_value("")
    assert page.evaluate("Object.keys(sessionStorage).filter((key) => key.startsWith('lines'))") == []
    assert count_cards(shop, "typed") == 1


def test_every_way_of_writing_is_in_reach_of_a_telephone(page: Page, shop: Shop, tmp_path: Path) -> None:
    begin(page, tmp_path)
    assert page.locator(".way:visible").count() == 13
    page.set_viewport_size({"width": 360, "height": 800})
    expect(page.locator(".way:visible")).to_have_count(0)
    summary = page.locator("[data-ways] > summary")
    expect(summary).to_contain_text("inches, the middle finger first, to the cut edges")
    assert not_none(summary.bounding_box())["height"] >= 44
    summary.click()
    boxes = [not_none(way.bounding_box()) for way in page.locator(".way").all()]
    assert len(boxes) == 13
    assert all(box["x"] >= 0 and box["x"] + box["width"] <= 360 and box["height"] >= 44 for box in boxes)
    with page.expect_navigation():
        page.locator(".way", has_text="Units inches").click()
    expect(page.locator("[data-ways] > summary")).to_contain_text("millimetres")
    assert problems(page) == []


@pytest.mark.parametrize("thumb", ["", "-"])
def test_a_card_of_two_holes_takes_few_keys(page: Page, shop: Shop, tmp_path: Path, thumb: str) -> None:
    begin(page, tmp_path)
    page.evaluate(COUNTS)
    page.evaluate("sessionStorage.keys = 0")
    first = page.url
    with page.expect_navigation():
        type_card(page, "Ulla Perrin, r", MIDDLE, RING, thumb)
    if not thumb:
        expect(page.locator(".question :focus")).to_have_count(1)
        page.keyboard.press("2")
        with page.expect_navigation():
            page.keyboard.press("Enter")
    expect(page).not_to_have_url(first)
    assert int(page.evaluate("sessionStorage.keys")) <= 60
    assert count_cards(shop, "typed") == 1


TROUBLED = {
    4: (("Ulla Perrin, r", MIDDLE, RING, "1/4r 1/8 31/32"), "11 1"),  # a namesake; whose letter; a draft is there
    6: (("Anna Johnson, r", MIDDLE, RING, THUMB), "1 1"),  # a namesake
    8: (("Card Eight, r", "4,375 0 0 3/4", RING, THUMB), "1"),  # a comma
    10: (("Card Ten, r", "9 3/8 0 0 3/4", RING, THUMB), "4 3/8 0 0 3/4"),  # beyond reason: written anew
    12: (("Card Twelve, r", "4 3/8 ? ? 3/4", RING, THUMB), ""),  # unknown, and kept so
    14: (("Card Fourteen", MIDDLE, RING, THUMB), "2"),  # no hand
    16: (("Card Sixteen, l", "4 3/8 0 1/8 under 3/4", RING, THUMB), "1"),  # which side is that?
    18: (("Card Eighteen, r", "4 3/8 1/8l 3/4", RING, THUMB), "w4 3/8 0 1/8l 3/4"),  # one measure is missing
}


def test_a_stack_with_troubles_is_typed_without_the_mouse(page: Page, shop: Shop, tmp_path: Path) -> None:
    begin(page, tmp_path)
    for number in range(1, 21):
        lines, answer = TROUBLED.get(
            number, ((f"Number {'abcdefghijklmnopqrstu'[number]} Card, r", MIDDLE, RING, THUMB), "")
        )
        expect(page.get_by_label("Name, hand")).to_have_value("")
        expect(page.get_by_label("Name, hand")).to_be_focused()
        if number == 1:
            lines = ("Ulla Perrin, r", *lines[1:])
        there = page.url
        with page.expect_navigation():
            type_card(page, *lines)
        if answer.replace(" ", "").isdecimal():
            for keys in answer.split():
                expect(page.locator(".question :focus")).to_have_count(1)
                for key in keys:
                    page.keyboard.press(key)
                with page.expect_navigation():
                    page.keyboard.press("Enter")
        elif answer:
            expect(page.locator(".question :focus, [data-line][autofocus]:focus")).to_have_count(1)
            page.keyboard.press("w" if answer[0] == "w" else "Control+a")
            page.keyboard.type(answer.removeprefix("w"))
            page.keyboard.press("Enter")
            page.keyboard.press("Enter")
            page.keyboard.press("Enter")
            with page.expect_navigation():
                page.keyboard.press("Enter")
        expect(page, f"card {number}: {page.locator('.reads').all_inner_texts()}").not_to_have_url(there)
    assert count_cards(shop, "typed") == 20
    assert count_cards(shop, "waiting") == 1
    engine = open_engine(shop.database)
    with sessions(engine)() as session:
        session.connection(execution_options=READ_ONLY)
        whose = select(Fit).join(PaperCard, PaperCard.fit_id == Fit.id)
        unknown = not_none(session.scalar(whose.where(PaperCard.number == 12)))
        assert unknown.typed["middle_pitch"] == "unknown"
        assert session.scalar(select(func.count(Bowler.id)).where(Bowler.name == "Ulla Perrin")) == 1
        assert session.scalar(select(func.count(Bowler.id)).where(Bowler.name == "Anna Johnson")) == 1
    engine.dispose()


def test_another_person_looks_at_a_typed_card(
    page: Page, shop: Shop, tmp_path: Path, keep_screenshot: KeepScreenshot
) -> None:
    begin(page, tmp_path, pictures=1)
    first = page.url
    with page.expect_navigation():
        page.keyboard.press("Enter")  # an empty line goes on, and nothing is sent
        page.keyboard.press("Shift+Tab")
        type_card(page, *CARD)
    page.goto(f"{first}/second-look")
    for width in (1280, 768, 360):
        page.set_viewport_size({"width": width, "height": 900})
        keep_screenshot(page, f"second-look-{width}")
        assert problems(page) == []
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    page.locator("label.picked", has_text="as the card says").first.click()
    page.get_by_role("button", name="Say so").click()
    expect(page.get_by_text("You typed this card").first).to_be_visible()
    assert count_cards(shop, "typed") == 1


def test_without_scripts_enter_reads_back_and_a_button_saves(browser: Browser, shop: Shop, tmp_path: Path) -> None:
    with opened(browser, shop, java_script_enabled=False, viewport={"width": 360, "height": 800}) as context:
        page = context.new_page()
        page.goto("/moving-in/cards")
        page.get_by_label("A new stack").fill("Drawer A")
        page.get_by_role("button", name="Begin it").click()
        page.get_by_role("button", name="Type the next card").click()
        for name in ("Spans", "Bridge", "No letter, along", "No letter, across", "Sides", "Units", "Style"):
            page.locator(".way", has_text=name).first.click()
        for label, line in zip(("Name, hand", "Middle finger", "Ring finger", "Thumb"), CARD, strict=False):
            page.get_by_label(label).fill(line)
        page.get_by_label("Thumb").press("Enter")
        expect(page.locator("#read-thumb")).to_contain_text("one-quarter reverse; one-eighth to the left")
        expect(page.get_by_label("Name, hand")).to_have_value(CARD[0])
        page.get_by_role("button", name="Save, next card").click()
        expect(page.get_by_label("Name, hand")).to_have_value("")
    assert count_cards(shop, "typed") == 1
