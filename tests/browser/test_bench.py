"""A drilling at the press: 1024 × 768 by touch and a phone, the network dropped in the middle of a tick."""

import re
from typing import Literal
from urllib.parse import urlsplit

import httpx
import pytest
from playwright.sync_api import Browser, Page, Route, expect
from sqlalchemy import select

from app.db import open_engine, sessions
from app.models import Drilling, DrillingStep, Part
from app.services import shelf
from seed_demo import PIN
from tests.browser.conftest import KeepScreenshot, Shop, add_plan, opened, tick_before
from tests.browser.test_every_page import problems
from tests.conftest import not_none

pytestmark = pytest.mark.once

PRESS = {"width": 1024, "height": 768}
PHONE = {"width": 360, "height": 740}
PX_PER_MM = 1280 / 10 / 25.4  # a 10 in screen of 1024 × 768, its diagonal 1280 px
WHOLE_MM, FRACTION_MM, CONTRAST = 12, 7, 7  # to be read at 2 m


def tap_initials(page: Page) -> None:
    page.get_by_role("radio", name="TB", exact=True).first.check()


def plan(page: Page) -> None:
    """A new ball for Anna Johnson, planned on her fit in force."""
    page.goto("/bowlers/1/balls/new")
    page.get_by_label("What you call it").fill("Press ball")
    page.get_by_label("Serial").fill("PB-1")
    tap_initials(page)
    page.get_by_role("button", name="Save").click()
    page.get_by_role("link", name="Drill this ball").click()
    page.get_by_role("button", name="Save this plan").click()
    page.get_by_role("link", name="To the bench").click()


def assert_one_screen(page: Page) -> None:
    """Nothing is scrolled, cut off or beside the screen, the navigation is away and the button at its place."""
    expect(page.locator(".bench-done")).to_be_visible()
    told = page.evaluate(
        """() => {
          const box = document.querySelector(".bench-done").getBoundingClientRect();
          const over = [document.documentElement, ...document.querySelectorAll(".bench-body, .bench-told, .bench-bar")]
            .map((e) => [e.scrollHeight - e.clientHeight, e.scrollWidth - e.clientWidth]).flat();
          return { over: Math.max(...over), right: innerWidth - box.right, below: innerHeight - box.bottom, high: box.height };
        }"""
    )
    assert told["over"] <= 1, page.get_by_role("heading", level=1).inner_text()
    assert (0 <= told["right"] <= 16, 0 <= told["below"] <= 16, told["high"] >= 60) == (True, True, True)
    expect(page.get_by_role("navigation")).to_have_count(0)


def find_out_of_reach(page: Page) -> list[str]:
    """What of a screen is cut off: boxes that hide what overflows them, or show it through a slit, and a covered number."""
    told: list[str] = page.evaluate(
        """() => [...document.querySelectorAll(".bench-step, .bench-body, .bench-told, .scroll")]
          .filter((e) => e.scrollHeight > e.clientHeight + 1)
          .filter((e) => e.closest(".bench-step") && !(e.matches(".bench-step, .bench-body") && getComputedStyle(e).overflowY === "auto"))
          .map((e) => `${e.className}: ${e.scrollHeight} in ${e.clientHeight}`)"""
    )
    return told


def drill_through(page: Page, keep_screenshot: KeepScreenshot, name: str) -> None:
    """Every step from the first to measuring, with the pause, and what was met at the collar."""
    paused, taps = False, 0
    for _ in range(60):
        assert_one_screen(page)
        heading = page.get_by_role("heading", level=1).inner_text()
        if heading.startswith("Stop"):
            paused = True
            for words in ("Anna Johnson", "right hand", "Press ball, serial PB-1", "thumb", "one-quarter reverse"):
                expect(page.locator(".read-aloud")).to_contain_text(words)
            keep_screenshot(page, f"{name}-pause")
            page.get_by_role("button", name="It is this hand, this ball, this hole").tap()
        elif heading.startswith("Measure"):
            break
        else:
            if heading == "Bore to the collar":
                page.get_by_role("radio", name="+1/64 2 49/64 collar").check()
                keep_screenshot(page, f"{name}-step")
            page.get_by_role("button", name="Done", exact=True).tap()
        taps += 1
        expect(page.get_by_role("heading", level=1)).not_to_have_text(heading)
    assert (paused, taps) == (True, 14)  # a tap a screen, the pause among them; the route has 31 steps before measuring
    page.get_by_role("link", name="Measure and close").tap()


def close(page: Page) -> None:
    expect(page.get_by_role("main")).to_contain_text("2 49⁄64")
    page.get_by_label("To middle", exact=True).fill("3 47/64")
    page.get_by_label("To ring", exact=True).fill("3 55/64")
    page.get_by_role("button", name="Log these").tap()
    page.get_by_role("button", name="Close this drilling").tap()
    expect(page.locator(".title-block")).to_contain_text("closed")


@pytest.mark.parametrize(("name", "size"), [("press", PRESS), ("phone-bench", PHONE)])
def test_a_drilling_from_empty_to_closed_by_touch(
    browser: Browser, shop: Shop, keep_screenshot: KeepScreenshot, name: str, size: dict[str, int]
) -> None:
    context = opened(browser, shop, viewport=size, has_touch=True)
    page = context.new_page()
    plan(page)
    drill_through(page, keep_screenshot, name)
    close(page)
    context.close()


def open_bench(page: Page, shop: Shop, serial: str = "PB-1") -> None:
    """The bench of such a plan, made without the pages that `plan` walks through."""
    page.goto(f"/drillings/{add_plan(shop, serial)}/bench")


def at_the_bore(page: Page, shop: Shop) -> None:
    open_bench(page, shop)
    for _ in range(3):
        heading = page.get_by_role("heading", level=1).inner_text()
        page.get_by_role("button", name=re.compile("^(Done|It is this)")).tap()
        expect(page.get_by_role("heading", level=1)).not_to_have_text(heading)
    expect(page.get_by_role("heading", level=1)).to_have_text("Bore to the collar")


MEASURE_GLYPHS = """() => {
  const glance = document.querySelector(".glance .measure"), canvas = document.createElement("canvas").getContext("2d");
  const cap = (node, text) => {
    const style = getComputedStyle(node);
    canvas.font = `${style.fontWeight} ${style.fontSize} ${style.fontFamily}`;
    return canvas.measureText(text).actualBoundingBoxAscent;
  };
  const light = (colour) => {
    const [r, g, b] = colour.match(/[\\d.]+/g).slice(0, 3).map((n) => n / 255).map((n) => n <= 0.04045 ? n / 12.92 : ((n + 0.055) / 1.055) ** 2.4);
    return 0.2126 * r + 0.7152 * g + 0.0722 * b;
  };
  const [one, two] = [getComputedStyle(glance).color, getComputedStyle(document.documentElement).backgroundColor].map(light).sort();
  const digits = [...glance.querySelectorAll("sup, sub")].map((node) => cap(node, node.textContent));
  return { whole: cap(glance, glance.firstChild.textContent.trim()), fraction: Math.min(...digits), contrast: (two + 0.05) / (one + 0.05) };
}"""


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_next_cut_is_readable_from_two_metres(
    browser: Browser, shop: Shop, scheme: Literal["light", "dark"]
) -> None:
    """Glyph heights by the canvas, contrast by the formula of WCAG 2.2 for relative luminance."""
    context = opened(browser, shop, viewport=PRESS, has_touch=True, color_scheme=scheme)
    page = context.new_page()
    at_the_bore(page, shop)
    seen = page.evaluate(MEASURE_GLYPHS)
    assert seen["whole"] >= WHOLE_MM * PX_PER_MM
    assert seen["fraction"] >= FRACTION_MM * PX_PER_MM
    assert seen["contrast"] >= CONTRAST
    assert not_none(page.locator(".set-up .direction").bounding_box())["width"] >= 90
    context.close()


def type_depth(page: Page, text: str) -> None:
    page.get_by_role("radio", name="type", exact=True).check()
    page.get_by_label("Depth met").fill(text)


def test_a_tick_survives_a_dropped_network_and_a_reload_and_ticks_once(browser: Browser, shop: Shop) -> None:
    context = opened(browser, shop, viewport=PRESS, has_touch=True)
    page = context.new_page()
    at_the_bore(page, shop)
    type_depth(page, "2 49/64 collar")
    page.route("**/steps/*/tick", lambda route: route.abort("internetdisconnected"))
    page.get_by_role("button", name="Done", exact=True).tap()
    expect(page.get_by_text("Kept on this screen until the network is back")).to_be_visible()
    page.reload()  # a closed lid, a power cut: what was tapped is still here
    expect(page.get_by_role("heading", level=1)).to_have_text("Bore to the collar")
    page.unroute("**/steps/*/tick")
    expect(page.get_by_role("heading", level=1)).to_have_text("Ream or sand until the sleeve slides", timeout=20_000)
    page.get_by_text(re.compile("^All steps")).click()
    expect(page.locator(".route")).to_contain_text("met 2 49/64")
    page.goto(page.url.replace("/bench", ""))
    page.get_by_text(re.compile("^History")).click()
    expect(page.locator(".history li", has_text="Bore to the collar")).to_have_count(1)
    context.close()


def test_a_tick_that_waits_says_whether_it_is_for_the_network_or_for_the_disk(browser: Browser, shop: Shop) -> None:
    drilling = add_plan(shop, "SN-DISK")
    page = opened(browser, shop).new_page()
    page.goto(f"/drillings/{drilling}/bench")
    full = "<h1>The disk is full, so nothing was saved. Free some space.</h1>"
    page.route("**/steps/*/tick", lambda route: route.fulfill(status=507, body=full, content_type="text/html"))
    page.get_by_role("button", name="Done").click()
    waiting = page.locator(".waiting-for-network")
    expect(waiting).to_contain_text("The disk is full")
    page.unroute("**/steps/*/tick")
    page.route("**/steps/*/tick", lambda route: route.abort("internetdisconnected"))
    expect(waiting).to_contain_text("until the network is back")
    expect(waiting).not_to_contain_text("disk")
    page.unroute("**/steps/*/tick")
    expect(page.locator(".step-cell")).to_contain_text("Step 2")
    page.context.close()


def test_an_answer_lost_on_its_way_back_ticks_once(browser: Browser, shop: Shop) -> None:
    context = opened(browser, shop, viewport=PRESS, has_touch=True)
    page = context.new_page()
    at_the_bore(page, shop)
    lost: list[httpx.Response] = []

    def lose_the_first_answer(route: Route) -> None:
        if lost:
            route.continue_()
        else:
            asked = urlsplit(route.request.url)
            kept = {n: v for n, v in route.request.all_headers().items() if not n.startswith(":")} | {
                "host": asked.netloc
            }
            here = f"http://127.0.0.1:{asked.port}{asked.path}"
            lost.append(httpx.post(here, content=route.request.post_data, headers=kept))  # the bench never hears of it
            route.abort("connectionreset")

    page.get_by_label("Depth not read").check()
    page.route("**/steps/*/tick", lose_the_first_answer)
    page.get_by_role("button", name="Done", exact=True).tap()
    expect(page.get_by_role("heading", level=1)).to_have_text("Ream or sand until the sleeve slides", timeout=20_000)
    assert len(lost) == 1
    page.goto(page.url.replace("/bench", ""))
    page.get_by_text(re.compile("^History")).click()
    expect(page.locator(".history li", has_text="Bore to the collar")).to_have_count(1)
    context.close()


def kept_on(page: Page) -> str:
    kept: str = page.evaluate("JSON.stringify([{...localStorage}, {...sessionStorage}])")
    return kept


def sign_as_ol(page: Page) -> None:
    page.locator(".signs summary").click()
    page.locator("form[data-tick]").get_by_role("radio", name="OL", exact=True).check()
    page.locator("form[data-tick]").get_by_label("PIN").fill(PIN)


def test_a_tick_signed_by_pin_keeps_a_pass_and_never_the_pin(browser: Browser, shop: Shop) -> None:
    context = opened(browser, shop, viewport=PRESS, has_touch=True)
    page = context.new_page()
    at_the_bore(page, shop)
    type_depth(page, "2 49/64 collar")
    sign_as_ol(page)
    page.route("**/steps/*/tick", lambda route: route.abort("internetdisconnected"))
    page.get_by_role("button", name="Done", exact=True).tap()
    expect(page.get_by_text("Kept on this screen until the network is back")).to_be_visible()
    assert "pass=" in kept_on(page)
    assert PIN not in kept_on(page)
    page.reload()
    page.unroute("**/steps/*/tick")
    expect(page.get_by_role("heading", level=1)).to_have_text("Ream or sand until the sleeve slides", timeout=20_000)
    page.get_by_text(re.compile("^All steps")).click()
    expect(page.locator(".route li", has_text="met 2 49/64")).to_contain_text("OL")
    assert "pass=" not in kept_on(page)
    context.close()


def test_without_any_network_the_pin_is_asked_again_after_a_reload_and_the_text_kept(
    browser: Browser, shop: Shop
) -> None:
    context = opened(browser, shop, viewport=PRESS, has_touch=True)
    page = context.new_page()
    at_the_bore(page, shop)
    type_depth(page, "2 49/64 collar")
    sign_as_ol(page)
    for address in ("**/steps/*/tick", "**/tick-passes"):
        page.route(address, lambda route: route.abort("internetdisconnected"))
    page.get_by_role("button", name="Done", exact=True).tap()
    expect(page.get_by_text("Kept on this screen until the network is back")).to_be_visible()
    assert "depth" in kept_on(page)
    assert PIN not in kept_on(page)
    page.reload()
    for address in ("**/steps/*/tick", "**/tick-passes"):
        page.unroute(address)
    expect(page.locator("#pin-error")).to_contain_text("Type the PIN of OL", timeout=20_000)
    expect(page.get_by_label("Depth met")).to_have_value("2 49/64 collar")
    page.locator("form[data-tick]").get_by_label("PIN").fill(PIN)
    page.get_by_role("button", name="Done", exact=True).tap()
    expect(page.get_by_role("heading", level=1)).to_have_text("Ream or sand until the sleeve slides", timeout=20_000)
    context.close()


def test_a_wrong_pin_at_the_bench_is_told_there_and_counted_once(browser: Browser, shop: Shop) -> None:
    context = opened(browser, shop, viewport=PRESS, has_touch=True)
    page = context.new_page()
    at_the_bore(page, shop)
    type_depth(page, "2 49/64 collar")
    page.locator(".signs summary").click()
    page.locator("form[data-tick]").get_by_role("radio", name="OL", exact=True).check()
    for _ in range(4):  # the fifth would sign this browser out
        page.locator("form[data-tick]").get_by_label("PIN").fill("9753")
        page.get_by_role("button", name="Done", exact=True).tap()
        expect(page.get_by_role("alert")).to_contain_text("That is not the PIN of OL.")
        expect(page.locator("form[data-tick]").get_by_label("PIN")).to_have_value("")
    expect(page.get_by_label("Depth met")).to_have_value("2 49/64 collar")
    page.locator("form[data-tick]").get_by_label("PIN").fill(PIN)
    page.get_by_role("button", name="Done", exact=True).tap()
    expect(page.get_by_role("heading", level=1)).to_have_text("Ream or sand until the sleeve slides", timeout=20_000)
    context.close()


def test_a_tick_refused_at_another_bench_is_told_there_and_its_text_kept(browser: Browser, shop: Shop) -> None:
    context = opened(browser, shop, viewport=PRESS, has_touch=True)
    page = context.new_page()
    at_the_bore(page, shop)
    bench = page.url
    type_depth(page, "2 49/64 collar or so")
    page.route("**/steps/*/tick", lambda route: route.abort("internetdisconnected"))
    page.get_by_role("button", name="Done", exact=True).tap()
    expect(page.get_by_text("Kept on this screen until the network is back")).to_be_visible()
    open_bench(page, shop, "PB-2")
    other = page.url
    assert other != bench
    expect(page.locator(".tick-elsewhere")).to_be_hidden()
    page.unroute("**/steps/*/tick")
    page.reload()
    expect(page.locator(".tick-elsewhere")).to_contain_text("refused when the network came back")
    expect(page.locator(".tick-elsewhere")).to_be_visible()
    assert page.url == other
    page.get_by_role("link", name="Open its bench").tap()
    expect(page.get_by_role("heading", level=1)).to_have_text("Bore to the collar")
    expect(page.get_by_label("Depth met")).to_have_value("2 49/64 collar or so")
    expect(page.locator(".error:visible").first).to_be_visible()
    assert '"spanbook-ticks":"[]"' in kept_on(page)
    context.close()


def test_a_kept_tick_that_is_taken_leaves_the_driller_at_the_bench_that_is_open(browser: Browser, shop: Shop) -> None:
    context = opened(browser, shop, viewport=PRESS, has_touch=True)
    page = context.new_page()
    at_the_bore(page, shop)
    bench = page.url
    type_depth(page, "2 49/64 collar")
    page.route("**/steps/*/tick", lambda route: route.abort("internetdisconnected"))
    page.get_by_role("button", name="Done", exact=True).tap()
    expect(page.get_by_text("Kept on this screen until the network is back")).to_be_visible()
    open_bench(page, shop, "PB-2")
    other = page.url
    page.unroute("**/steps/*/tick")
    with page.expect_response("**/steps/*/tick") as taken:
        page.reload()
    assert taken.value.status < 400
    taken.value.finished()
    page.wait_for_timeout(500)  # nothing is to happen, so there is nothing to wait for
    assert page.url == other
    page.goto(bench)
    expect(page.get_by_role("heading", level=1)).to_have_text("Ream or sand until the sleeve slides")
    assert page.url == bench
    context.close()


def test_two_benches_see_each_others_ticks(browser: Browser, shop: Shop) -> None:
    context = opened(browser, shop, viewport=PRESS, has_touch=True)
    one, two = context.new_page(), context.new_page()
    open_bench(one, shop)
    two.goto(one.url)
    one.get_by_role("button", name="Done", exact=True).tap()
    expect(two.get_by_text("has ticked further steps")).to_be_visible(timeout=20_000)
    two.get_by_role("link", name="Show the next step").tap()
    expect(two.get_by_role("heading", level=1)).to_have_text("Set the bore's pitch")
    context.close()


@pytest.mark.parametrize("size", [{"width": 640, "height": 400}, {"width": 740, "height": 360}, PHONE])
def test_what_a_short_screen_cannot_hold_is_reached_by_scrolling(
    browser: Browser, shop: Shop, size: dict[str, int]
) -> None:
    """640 × 400 is a tablet of 1280 × 800 at 200 %, 740 × 360 a phone laid on its side."""
    context = opened(browser, shop, viewport=size, has_touch=True)
    page = context.new_page()
    at_the_bore(page, shop)
    assert find_out_of_reach(page) == []
    number, bar = (not_none(page.locator(part).bounding_box()) for part in (".glance .measure", ".bench-bar"))
    assert number["y"] + number["height"] <= bar["y"] + 4  # the air below its letters
    type_depth(page, "2 7/8 collar")
    page.get_by_role("button", name="Done", exact=True).click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Stop")
    assert find_out_of_reach(page) == []
    context.close()


def test_the_chosen_chip_shows_in_forced_colours(browser: Browser, shop: Shop) -> None:
    context = opened(browser, shop, viewport=PRESS, has_touch=True, forced_colors="active")
    page = context.new_page()
    at_the_bore(page, shop)
    told = page.eval_on_selector_all(
        ".chip input", "(all) => all.map((e) => [e.checked, getComputedStyle(e.nextElementSibling).outlineStyle])"
    )
    assert {tuple(one) for one in told} == {(True, "solid"), (False, "none")}
    context.close()


def test_a_step_taken_back_elsewhere_is_told_as_that(browser: Browser, shop: Shop) -> None:
    context = opened(browser, shop, viewport=PRESS, has_touch=True)
    one, two = context.new_page(), context.new_page()
    open_bench(one, shop)
    one.get_by_role("button", name="Done", exact=True).tap()
    expect(one.get_by_role("heading", level=1)).to_have_text("Set the bore's pitch")
    two.goto(one.url)
    one.get_by_role("button", name="Back one").tap()
    expect(two.locator("[aria-live] .notice")).to_contain_text("taken back", timeout=20_000)
    expect(two.get_by_text("has ticked further steps")).to_have_count(0)
    context.close()


def test_a_misread_depth_is_asked_about_at_the_bench(browser: Browser, shop: Shop) -> None:
    context = opened(browser, shop, viewport=PRESS, has_touch=True)
    page = context.new_page()
    at_the_bore(page, shop)
    type_depth(page, "70")
    page.get_by_role("button", name="Done", exact=True).tap()
    expect(page.locator("#depth-error")).to_contain_text("inches or mm")
    expect(page.get_by_label("Depth met")).to_have_value("70")
    context.close()


def test_a_screen_needs_keys_alone_and_axe_finds_nothing(browser: Browser, shop: Shop) -> None:
    context = opened(browser, shop, viewport=PRESS)
    page = context.new_page()
    planned = add_plan(shop, "PB-9")
    tick_before(shop, planned, "ring_pitch")
    page.goto(f"/drillings/{planned}/bench")
    expect(page.get_by_role("heading", level=1)).to_have_text("Bore the ring finger")
    assert problems(page) == []
    not_read = page.get_by_role("radio", name="Depth not read", checked=True)
    for _ in range(12):
        page.keyboard.press("Tab")
        if not_read.evaluate("(radio) => radio === document.activeElement"):
            break
    for _ in range(3):  # round to a 64th less, as planned, a 64th more
        page.keyboard.press("ArrowRight")
    for _ in range(6):
        page.keyboard.press("Tab")
        if page.get_by_role("button", name="Done", exact=True).evaluate("(b) => b === document.activeElement"):
            break
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", level=1)).to_have_text("Dry fit, then glue the ring insert")
    page.get_by_text(re.compile("^All steps")).click()
    expect(page.locator(".route li", has_text="Bore the ring finger")).to_contain_text("met 57/64")
    page.get_by_text(re.compile("^All steps")).click()
    page.get_by_role("button", name="Back one").press("Enter")  # a screen is taken back as it was ticked
    expect(page.get_by_role("heading", level=1)).to_have_text("Bore the ring finger")
    expect(page.locator(".others .ticked")).to_have_count(0)
    context.close()


@pytest.mark.parametrize("size", [PRESS, PHONE])
def test_a_lot_is_chosen_at_one_tap_and_the_number_stays_in_sight(
    browser: Browser, shop: Shop, size: dict[str, int]
) -> None:
    planned, names = add_plan(shop, f"PB-LOT-{size['width']}"), [f"{letter}-{size['width']}" for letter in "ABC"]
    engine = open_engine(shop.database)
    with sessions(engine)() as session, session.begin():
        system_id = session.get_one(Drilling, planned).system_id
        lots = [Part(kind="sleeve", system_id=system_id, label="Sleeve", lot=lot) for lot in names]
        glue = Part(kind="glue", label="Slow resin", lot=f"R-{size['width']}")
        session.add_all([*lots, glue])
        session.flush()
        other, glue_id = lots[1].id, glue.id
    tick_before(shop, planned, "glue")
    context = opened(browser, shop, viewport=size, has_touch=True)
    page = context.new_page()
    page.goto(f"/drillings/{planned}/bench")
    assert_one_screen(page)
    expect(page.locator(".glance")).to_be_in_viewport(ratio=1)
    assert problems(page) == []
    page.get_by_role("radio", name=f"lot {names[1]}: 0 left").check()
    page.get_by_role("radio", name=f"Slow resin, lot R-{size['width']}").check()
    page.get_by_role("button", name="Done", exact=True).tap()
    expect(page.locator(".bench-lots")).to_have_count(0)
    with sessions(engine)() as session:
        glued = session.scalars(
            select(DrillingStep).where(DrillingStep.drilling_id == planned, DrillingStep.action == "glue")
        ).one()
        assert glued.part_id == other
        assert shelf.count_part(session, glue_id) == -1
    engine.dispose()
    context.close()
