"""Every page: axe finds nothing, nothing is cut off at 360 px or in print, and the main flows need no JavaScript."""

import re
from collections.abc import Iterator

import pytest
from axe_playwright_python.base import AXE_SCRIPT
from playwright.sync_api import Browser, Page, expect

from app.settings import Settings
from seed_demo import PIN
from tests.browser.conftest import KeepScreenshot, Shop, opened, serve
from tests.browser.test_story import sign
from tests.conftest import Databases
from tests.pages.test_pages import PAGES, SHEETS

TOUCH_PX = 44


PRINTED_PX = {"A4": 703, "Letter": 725}  # 96 px an inch, less the 12 mm margins
WIDTHS = (360, 768, 1024, 1280)
OWNERS_PAGES = ("/people", "/people/3", "/me", "/backups", "/retention", "/bowlers/1/held", "/keys")
SMALL = """px => [...document.querySelectorAll('button, .button, .row, .picked, input:not([type=hidden]):not([type=radio]):not([type=checkbox]), select, nav a, summary')]
    .filter(e => e.offsetParent && e.getBoundingClientRect().height < px)
    .map(e => location.pathname + ' ' + e.outerHTML.slice(0, 90))"""

# texts of drawings that axe does not look at: those with less than 4.5 : 1 (WCAG 2.2, 1.4.3) against the ground they stand on
DIM = """() => {
    const channel = c => c / 255 <= .04045 ? c / 255 / 12.92 : ((c / 255 + .055) / 1.055) ** 2.4;
    const light = rgb => { const [r, g, b] = rgb.match(/[\\d.]+/g).map(Number); return .2126 * channel(r) + .7152 * channel(g) + .0722 * channel(b); };
    const ground = e => { const own = getComputedStyle(e).backgroundColor; return own.endsWith(', 0)') ? ground(e.parentElement) : light(own); };
    return [...document.querySelectorAll('svg text')].filter(e => e.checkVisibility() && e.textContent.trim()).filter(e => {
        const own = light(getComputedStyle(e).fill), under = ground(e.closest('svg').parentElement);
        return (Math.max(own, under) + .05) / (Math.min(own, under) + .05) < 4.5;
    }).map(e => e.textContent.trim());
}"""
WIDE = "[...document.querySelectorAll('.scroll')].filter(e => e.scrollWidth > e.clientWidth + 1).map(e => e.ariaLabel)"


def problems(page: Page, *rules: str) -> list[str]:
    """What axe finds on a page: all that it knows, or these rules alone."""
    if not page.evaluate("'axe' in window"):  # it is half a megabyte, once a document
        page.evaluate(AXE_SCRIPT)
    options = {"resultTypes": ["violations"], "selectors": False} | ({"runOnly": list(rules)} if rules else {})
    found = page.evaluate("options => axe.run(options).then(results => results.violations)", options)
    return [f"{page.url} {v['id']}: {[n['html'][:120] for n in v['nodes'][:3]]}" for v in found]


def overflow(page: Page) -> int:
    over: int = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
    return over


def set_width(page: Page, width: int) -> None:
    page.set_viewport_size({"width": width, "height": 900})


@pytest.fixture(scope="module")
def walked(browser: Browser, all_databases: dict[str, Databases]) -> Iterator[Page]:
    """A page on a server for all tests that only look."""
    databases = all_databases["sqlite"]
    url = databases.copied(databases.demo)
    with serve(Settings(database_url=url, hosts="shop.test")) as shop:
        context = opened(browser, shop, has_touch=True, reduced_motion="reduce")
        yield context.new_page()
        context.close()
    databases.drop(url)


@pytest.mark.once
@pytest.mark.parametrize("url", [*PAGES, *OWNERS_PAGES, "/nope"])
def test_a_page_prints_fits_each_width_and_axe_finds_nothing(walked: Page, url: str) -> None:
    """The page is loaded once: paper, width and colours change under the same document."""
    walked.goto(url)
    check_print(walked, is_sheet=url in SHEETS)
    set_width(walked, WIDTHS[0])
    if url not in SHEETS:  # a sheet is paper: nothing to tap on it
        assert walked.evaluate(SMALL, TOUCH_PX) == []
    walked.evaluate("document.querySelectorAll('details').forEach(d => d.open = true)")
    assert walked.evaluate(WIDE) == [] or url == "/help/geometry"  # a page of figures to read at a desk
    for width in WIDTHS:
        set_width(walked, width)
        assert overflow(walked) <= 0 or url in SHEETS, width
    found = problems(walked)
    walked.emulate_media(color_scheme="dark")
    assert url in SHEETS or walked.evaluate(DIM) == []
    found += problems(walked, "color-contrast")  # a page in the dark differs by its colours alone
    walked.emulate_media(color_scheme="light")
    assert found == []


def check_print(page: Page, is_sheet: bool) -> None:
    page.emulate_media(media="print")
    for paper, width in PRINTED_PX.items():
        set_width(page, width)
        assert overflow(page) <= 0, paper
    assert len(page.pdf(format="A4")) > 1_000
    assert is_sheet or not page.locator("nav").first.is_visible()
    page.emulate_media(media="screen")


def test_axe_finds_nothing_on_a_refused_form(page: Page) -> None:
    page.goto("/bowlers/new")
    page.evaluate("document.querySelector('#name').removeAttribute('required')")
    page.get_by_role("button", name="Save").click()
    expect(page.locator("#name-error")).to_be_visible()
    assert problems(page) == []


def type_at_the_counter(page: Page, text: str) -> None:
    page.goto("/")
    expect(page.get_by_label("Name, phone, league, shop or ball serial")).to_be_focused()
    page.keyboard.type(text)


def test_the_counter_by_keyboard_alone(page: Page) -> None:
    type_at_the_counter(page, "johns")
    expect(page.locator("#results a.row")).to_have_count(3)
    page.keyboard.press("ArrowDown")
    expect(page.locator("#results a.row").first).to_be_focused()
    page.keyboard.press("ArrowDown")
    page.keyboard.press("ArrowUp")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", level=1)).to_have_text("Anna Johnson")
    type_at_the_counter(page, "7788")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", level=1)).to_have_text("Anna Johnson")


def test_back_from_a_record_leads_to_what_was_found(page: Page) -> None:
    page.goto("/")
    box = page.get_by_label("Name, phone, league, shop or ball serial")
    box.press_sequentially("jonson")
    found = page.get_by_role("link", name="Anna Johnson one letter off")
    expect(page).to_have_url(re.compile(r"q=jonson$"))  # the list of the last letter stands
    found.click()
    expect(page.get_by_role("heading", name="Anna Johnson")).to_be_visible()
    page.go_back()
    expect(box).to_have_value("jonson")
    expect(found).to_be_visible()


def test_the_skip_link_comes_first(page: Page) -> None:
    page.goto("/shops")
    page.keyboard.press("Tab")
    expect(page.get_by_role("link", name="Skip to the content")).to_be_focused()


def test_the_main_flows_without_javascript(browser: Browser, shop: Shop) -> None:
    context = opened(browser, shop, java_script_enabled=False)
    page = context.new_page()
    page.goto("/")
    page.get_by_label("Name, phone, league, shop or ball serial").fill("jonson")
    page.get_by_role("button", name="Find").click()
    page.get_by_role("link", name="Anna Johnson").click()
    page.get_by_role("link", name="New ball", exact=True).click()
    page.get_by_label("What you call it").fill("No script ball")
    page.get_by_label("Circumference").fill("28")
    sign(page, "Save")
    expect(page.locator("#circumference-error")).to_contain_text("outside what can be")
    expect(page.get_by_label("What you call it")).to_have_value("No script ball")
    page.get_by_label("Circumference").fill("26.9")
    sign(page, "Save")
    page.get_by_role("link", name="Drill this ball").click()
    page.get_by_text("change", exact=True).click()
    page.get_by_label("straight, the hole is tilted in the inner").check()
    page.get_by_label("A new inner, outside").fill("1 1/4")
    page.get_by_role("button", name="Work it out").click()
    expect(page.locator("#checks li", has_text="Least wall of the inner")).to_contain_text("fails")
    page.get_by_text("change", exact=True).click()
    page.get_by_label("at the thumb's pitch").check()
    sign(page, "Save this plan")
    page.get_by_text("Drilled without the bench").click()
    page.get_by_label("Bore depth met").fill("2 3/4")
    page.get_by_label("Measured from").select_option("collar")
    sign(page, "All holes are drilled and flush")
    page.get_by_label("To middle", exact=True).fill("3 47/64")
    page.get_by_label("To ring", exact=True).fill("3 55/64")
    sign(page, "Log these")
    expect(page.get_by_role("main")).to_contain_text("within tolerance")
    sign(page, "Close this drilling")
    expect(page.locator(".title-block")).to_contain_text("closed")
    context.close()


@pytest.mark.parametrize("scripted", [True, False])
def test_no_pin_stands_in_an_address(browser: Browser, shop: Shop, scripted: bool) -> None:
    context = opened(browser, shop, java_script_enabled=scripted)
    page = context.new_page()
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.goto("/balls/1/drillings/new")
    page.get_by_label("PIN").fill(PIN)
    page.get_by_text("change", exact=True).click()
    page.get_by_label("straight, the hole is tilted in the inner").check()
    page.get_by_label("A new inner, outside").fill("1 1/4")
    page.get_by_role("button", name="Work it out").click()
    expect(page.locator("#checks li", has_text="Least wall of the inner")).to_contain_text("fails")
    page.goto("/inners/1/loose")
    for clock in ("12", "3", "6", "9"):
        page.get_by_label(f"Height at {clock} o'clock").fill("2.684")
    page.get_by_role("button", name="Work it out").click()
    expect(page.get_by_text("Depth of that bore")).to_be_visible()
    page.get_by_label("PIN").fill(PIN)
    page.get_by_role("button", name="Work it out").click()
    expect(page.get_by_text("Depth of that bore")).to_be_visible()
    for url, field in (("/bowlers/8/fits/new", "Notes on hand and skin"), ("/drillings/3", "PIN")):
        page.goto(url)
        page.evaluate("document.querySelectorAll('details').forEach(fold => fold.open = true)")
        page.get_by_label("PIN").first.fill(PIN)
        page.get_by_label(field).first.press("Tab")
        for box in page.locator("form input[type=text]:visible").all()[:2]:
            box.fill("4")
            box.press("Tab")
    context.close()
    assert len(asked) > 5
    assert [url for url in asked if PIN in url.partition("?")[2]] == []


def test_double_click_reload_and_back_save_once(page: Page) -> None:
    page.goto("/bowlers/new")
    page.get_by_label("Name").fill("Dora Kettle")
    page.get_by_label("left hand").check()
    form = page.locator("form", has=page.get_by_role("button", name="Save"))
    form.get_by_role("radio", name="RV", exact=True).check()
    form.get_by_label("PIN, if another person signs").fill(PIN)
    page.get_by_role("button", name="Save").dblclick()
    expect(page.get_by_role("heading", level=1)).to_have_text("Dora Kettle")
    page.goto("/?q=kettle")
    expect(page.locator("#results a.row")).to_have_count(1)
    page.get_by_role("link", name="Dora Kettle").click()
    page.reload()
    page.go_back()
    expect(page.locator("#results a.row")).to_have_count(1)


def test_a_set_of_ten_balls_by_keyboard_alone(page: Page, keep_screenshot: KeepScreenshot) -> None:
    page.goto("/visitors/set")
    expect(page.get_by_label("Bowler", exact=True)).to_be_focused()
    for i in range(10):
        if 0 < i < 6:
            page.keyboard.press("Control+d")  # the cell above
            expect(page.get_by_label("Bowler", exact=True)).to_have_value("Orla Fenn")
        else:
            page.keyboard.type("Orla Fenn" if i == 0 else "Nils Abend")
        if i == 0:
            # Bowler, phone, hand, ball, serial, shop, new shop, hardware, outside, hole, pitch, tilt, depth, datum, known by
            for text in (
                "",
                "right",
                "Ball 0",
                "",
                "",
                "Bridge End Drilling",
                "Twist lock, floor seated",
                "1 1/4",
                "",
                "1/4 reverse, 0",
                "",
                "2 11/16",
                "collar",
            ):
                page.keyboard.press("Tab")
                page.keyboard.type(text)
            for _ in range(3):
                page.keyboard.press("Tab")
            while page.evaluate("document.activeElement.name") != "who":
                page.keyboard.press("Tab")
            page.keyboard.press("Space")
        else:
            for _ in range(3):
                page.keyboard.press("ArrowRight")
            page.keyboard.type(f"Ball {i}")
        with page.expect_navigation():
            page.keyboard.press("Enter")
        expect(page.get_by_role("heading", name=f"Taken in today, {2 + i}")).to_be_visible()
    keep_screenshot(page, "set")
    page.keyboard.press("ArrowDown")
    expect(page.get_by_label("Inner, outside")).to_be_focused()  # the cell below the bowler's
    page.keyboard.press("ArrowUp")
    expect(page.get_by_label("Bowler", exact=True)).to_be_focused()
    page.goto("/visitors")
    page.get_by_label("Shop", exact=True).select_option(label="Bridge End Drilling")
    expect(page.locator("#known")).to_contain_text("This shop is known for Twist lock, floor seated")
    expect(page.locator("#known")).to_contain_text("from 1 observation")  # one word of one shop, not ten


@pytest.mark.parametrize("width", [1280, 360])
def test_a_long_text_that_finds_nobody_stays_on_the_page(page: Page, width: int) -> None:
    set_width(page, width)
    page.goto(f"/?q={'a' * 300}")
    expect(page.get_by_text("Nobody found")).to_be_visible()
    assert overflow(page) <= 0
