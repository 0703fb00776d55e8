"""An invented shop moves in: 400 bowlers, 40 of whose rows ask something, worked to the end by keyboard."""

import re
from pathlib import Path

from playwright.sync_api import Page, expect
from sqlalchemy import func, select

from app.db import READ_ONLY, open_engine, sessions
from app.models import Bowler, Fit, SheetRow
from tests.browser.conftest import KeepScreenshot, Shop
from tests.browser.test_every_page import problems
from tests.conftest import not_none
from tests.sheets.moved_shop import BOWLERS, TROUBLES, make_sheet

SAID = {
    "Which style": "fingertip", "edges do the spans": "to the cut edges", "as seen from": "looking at the ball",
    "edges does the bridge": "between the cut edges",
}  # fmt: skip
LONGEST_PX = 4000  # of a page on a phone: about five screens
IMPORT_TAKES_MS = 240_000  # on a machine that has much else to do
TAKEN, ASKED = BOWLERS - TROUBLES, TROUBLES


def test_a_shop_moves_in_and_its_troubles_are_answered_by_keyboard(
    page: Page, shop: Shop, tmp_path: Path, keep_screenshot: KeepScreenshot
) -> None:
    (tmp_path / "cards.csv").write_bytes(make_sheet())
    page.goto("/moving-in")
    page.get_by_label("The file").set_input_files(str(tmp_path / "cards.csv"))
    page.get_by_role("button", name="Look at it").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("What is each column?")
    page.get_by_role("button", name="Go on to conventions").click()
    for question, choice in SAID.items():
        group = page.get_by_role("group", name=question)
        group.locator("label.picked", has_text=re.compile(f"^\\s*{choice}")).click()
    page.get_by_label("Save as").fill("Our cards")
    page.get_by_role("button", name="Confirm these conventions").click()
    expect(page.locator(".title-block")).to_contain_text("Confirmedyes")
    keep_screenshot(page, "moving-in-conventions")
    assert problems(page) == []
    assert measure_on_a_phone(page, page.url, page.url.replace("/conventions", "/rows")) <= LONGEST_PX
    page.get_by_role("button", name="Dry run").click()
    page.get_by_role("button", name=f"4. Import {TAKEN} rows").click(timeout=IMPORT_TAKES_MS)
    expect(page.get_by_role("link", name=f"Answer {ASKED} rows")).to_be_visible(timeout=IMPORT_TAKES_MS)
    page.get_by_role("link", name=f"Answer {ASKED} rows").click()
    keep_screenshot(page, "moving-in-inbox")
    assert problems(page) == []
    answer_all(page)
    expect(page.get_by_text("Nothing is left to answer.")).to_be_visible()
    assert count_made(shop) == (BOWLERS, BOWLERS, 0)


def measure_on_a_phone(page: Page, here: str, rows: str) -> int:
    """How high the longer of two pages is at 360 px; the first is shown again afterwards."""
    wide, heights = not_none(page.viewport_size), []
    page.set_viewport_size({"width": 360, "height": 740})
    for address in (rows, here):
        page.goto(address)
        heights.append(int(page.evaluate("document.documentElement.scrollHeight")))
    page.set_viewport_size(wide)
    return max(heights)


def answer_all(page: Page) -> None:
    """Answers every row with keys alone: the first choice of a span, and what the card says of a thumb hole."""
    for _ in range(3 * ASKED):
        if "/inbox" not in page.url and "/rows/" not in page.url:
            return
        question = page.locator(".question").first
        asked = question.inner_text()
        page.keyboard.press("1")
        if not question.locator("input[type=radio]").count():
            expect(question.locator(".written input")).to_have_value("")  # a digit chooses, and writes nothing
            page.keyboard.press("w")
            page.keyboard.type("31/32" if "thumb: hole" in asked else "4 3/8 x 4 1/2" if "Both" in asked else "4 3/8")
        with page.expect_navigation():
            page.keyboard.press("Enter")


def count_made(shop: Shop) -> tuple[int, int, int]:
    """Bowlers and fits of the sheet, and rows that are still asked."""
    engine = open_engine(shop.database)
    with sessions(engine)() as session:
        session.connection(execution_options=READ_ONLY)
        made = select(SheetRow.bowler_id).where(SheetRow.made_bowler.is_(True))
        found = (
            session.scalar(select(func.count(Bowler.id)).where(Bowler.id.in_(made))) or 0,
            session.scalar(select(func.count(Fit.id)).where(Fit.reason.startswith("sheet cards.csv"))) or 0,
            session.scalar(select(func.count(SheetRow.id)).where(SheetRow.outcome == "asked")) or 0,
        )
    engine.dispose()
    return found
