"""A drilling of two fingers without a thumb, and of a thumb and one finger, from its fit to its print, for both hands."""

import re

import pytest
from playwright.sync_api import Browser, Page, expect

from app.calculation.sphere import along_across_in
from app.db import open_engine, sessions
from app.models import Drilling
from app.services.work_outs import WorkedOut, work_out
from tests.browser.conftest import KeepScreenshot, Shop, opened, tick_before
from tests.browser.test_owned_inners import start
from tests.browser.test_story import leave, sign
from tests.conftest import not_none

pytestmark = pytest.mark.once

BOWLER = 8  # of the demo, who has no fit
NAMES = {
    "thumbless": "two fingers, no thumb",
    "middle": "thumb and middle finger",
    "ring": "thumb and ring finger",
}
FINGER = {"hole": "11/16", "cut": "31/32", "pitch": "1/4 reverse, 0", "depth": "3/4"}
THUMB = {"thumb_hole": "15/16", "thumb_pitch": "1/4 reverse, 0"}


def make_fit(page: Page, holes: str, hand: str) -> None:
    page.goto(f"/bowlers/{BOWLER}/fits/new")
    page.get_by_label(f"{hand} hand", exact=True).check()
    page.get_by_label(NAMES[holes], exact=True).check()
    leave(page, "Spans, middle × ring", "2 x 2 1/8" if holes == "thumbless" else "4")
    page.get_by_label("Spans were measured").select_option("cut")
    if holes == "thumbless":
        page.locator("#bridge").fill("1/4")
        page.get_by_label("Bridge was measured").select_option("cut")
    fingers = ("middle", "ring") if holes == "thumbless" else (holes,)
    for name, text in {f"{f}_{part}": text for f in fingers for part, text in FINGER.items()}.items():
        page.locator(f"#{name}").fill(text)
    for name, text in THUMB.items():
        expect(page.locator(f"#{name}")).to_be_visible(visible=holes != "thumbless")
        if holes != "thumbless":
            page.locator(f"#{name}").fill(text)
    for name, is_asked in {
        "bridge": len(fingers) > 1,
        "thumb_offset": False,
        **{f"{f}_hole": True for f in fingers},
    }.items():
        expect(page.locator(f"#{name}")).to_be_visible(visible=is_asked)
    page.locator("#hand_notes").focus()
    expect(page.locator("#sketch svg.grip")).to_be_visible()


def read_plan(shop: Shop, drilling_id: int) -> WorkedOut:
    engine = open_engine(shop.database)
    with sessions(engine)() as session:
        worked = work_out(not_none(not_none(session.get(Drilling, drilling_id)).plan))
    engine.dispose()
    return worked


@pytest.mark.parametrize(
    ("holes", "hand"), [("thumbless", "right"), ("thumbless", "left"), ("middle", "left"), ("ring", "right")]
)
def test_from_fit_to_print(
    browser: Browser, shop: Shop, keep_screenshot: KeepScreenshot, holes: str, hand: str
) -> None:
    context = opened(browser, shop, viewport={"width": 1280, "height": 900})
    page = context.new_page()

    def keep(name: str) -> None:
        keep_screenshot(page, f"fewer-{holes}-{hand}-{name}")
        page.set_viewport_size({"width": 360, "height": 740})
        wide = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
        assert wide == 0, name
        keep_screenshot(page, f"fewer-{holes}-{hand}-{name}-phone")
        page.set_viewport_size({"width": 1280, "height": 900})

    make_fit(page, holes, hand)
    keep("fit-form")
    sign(page, "Save draft")
    sign(page, "Put in force")
    expect(page.get_by_role("main")).to_contain_text(NAMES[holes], ignore_case=True)
    keep("fit")
    start(page, "FH-1", BOWLER)
    expect(page.locator("#numbers svg.grip")).to_be_visible()
    page.get_by_text("change", exact=True).click()
    expect(page.get_by_label("Thumb hardware")).to_be_visible(visible=holes != "thumbless")
    keep("plan")
    sign(page, "Save this plan")
    drilling = int(page.url.rsplit("/", 1)[1])
    worked = read_plan(shop, drilling)
    assert list(worked.solved.holes) == {
        "thumbless": ["middle", "ring"], "middle": ["thumb", "middle"], "ring": ["thumb", "ring"],
    }[holes]  # fmt: skip

    page.get_by_role("link", name="To the bench").click()
    marked = page.get_by_role("heading", level=1)
    expect(marked).to_contain_text("plus" if holes == "thumbless" else "Mark grip centre")
    keep("bench-mark")
    tick_before(shop, drilling, "measure")
    measure_and_close(page, shop, drilling, worked)
    keep("measured")
    page.goto(f"/drillings/{drilling}/sheet")
    expect(page.locator("table.cuts")).to_contain_text("no hole" if holes == "thumbless" else "15⁄16")
    keep_screenshot(page, f"fewer-{holes}-{hand}-sheet")
    check_drawn(page, worked)
    check_pages(page, drilling)
    context.close()


def measure_and_close(page: Page, shop: Shop, drilling: int, worked: WorkedOut) -> None:
    """Measures a 64th long to the first finger and as predicted else; the verdict is that of the shop's tolerance."""
    page.goto(f"/drillings/{drilling}")
    if page.get_by_role("button", name="All holes are drilled and flush").count():
        page.get_by_text("Drilled without the bench").click()
        sign(page, "All holes are drilled and flush")
    for i, (part, predicted) in enumerate(worked.predictions_in.items()):
        page.locator(f"#finish-{part}").fill(f"{predicted + (1 / 64 if i == 0 else 0):.4f}")
    for part in {"middle", "ring", "bridge"} - set(worked.predictions_in):
        expect(page.locator(f"#finish-{part}")).to_have_count(0)
    sign(page, "Log these")
    rows = page.get_by_role("region", name="Predicted against measured").locator("tbody tr")
    expect(rows).to_have_count(len(worked.predictions_in))
    expect(rows.first).to_contain_text("+1/64")
    sign(page, "Close this drilling")
    expect(page.get_by_role("main")).to_contain_text("closed")


def check_pages(page: Page, drilling: int) -> None:
    """Every other page and print of this bowler, fit, ball and drilling opens."""
    page.goto(f"/drillings/{drilling}")
    fit = str(page.get_by_role("link", name="fit A").first.get_attribute("href"))
    ball = str(page.get_by_role("link", name="ball", exact=True).get_attribute("href"))
    bowler = f"/bowlers/{BOWLER}"
    pages = [bowler, f"{bowler}/held", f"{bowler}/sits", ball, f"{ball}/tag", fit, f"{fit}/card", f"{fit}/transfer"]
    pages += [
        f"{fit}/passport",
        f"/drillings/{drilling}/strips",
        f"/drillings/{drilling}/bench",
        f"/drillings/{drilling}/sheet.pdf",
        "/?q=Tanaka",
    ]
    found = page.evaluate("urls => Promise.all(urls.map(async url => (await fetch(url)).status))", pages)
    assert dict(zip(pages, found, strict=True)) == dict.fromkeys(pages, 200)


def check_drawn(page: Page, worked: WorkedOut) -> None:
    """The printed grip has each hole's centre where the calculation has it: its pitch arrow starts there."""
    drawn = page.locator("svg.grip path").evaluate_all("paths => paths.map(p => p.getAttribute('d'))")
    starts = {tuple(round(float(n), 3) for n in re.findall(r"-?\d+\.\d+", d)[:2]) for d in drawn if "h" not in d}
    for axis in worked.solved.holes.values():
        x, y = axis.radius_in * axis.centre[0], -axis.radius_in * axis.centre[1]
        assert any(abs(x - at[0]) < 2e-3 and abs(y - at[1]) < 2e-3 for at in starts if len(at) == 2), along_across_in(
            axis.centre, axis.radius_in
        )
