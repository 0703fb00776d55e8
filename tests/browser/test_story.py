"""The whole job in a real browser: counter, fit, ball, hardware, plan, finish, visitor."""

import re

from playwright.sync_api import Browser, Page, expect

from tests.browser.conftest import KeepScreenshot, Shop, opened


def sign(page: Page, button: str, initials: str = "TB") -> None:
    """Taps initials in the form of a button, then the button."""
    form = page.locator("form", has=page.get_by_role("button", name=button, exact=True))
    form.get_by_role("radio", name=initials, exact=True).check()
    form.get_by_role("button", name=button, exact=True).click()


def leave(page: Page, label: str, text: str) -> None:
    """Types into a field and leaves it, and waits until it has been read back."""
    field = page.get_by_label(label, exact=True)
    field.fill(text)
    with page.expect_response(lambda r: "/read-back/" in r.url):
        field.blur()


def add_bowler(page: Page, keep_screenshot: KeepScreenshot) -> None:
    page.goto("/")
    box = page.get_by_label("Name, phone, league, shop or ball serial")
    expect(box).to_be_focused()
    box.press_sequentially("jonson")
    expect(page.locator("#results a.row").first).to_contain_text("Anna Johnson")
    expect(page.locator("#results")).to_contain_text("fit B is a draft")
    keep_screenshot(page, "counter")
    box.fill("Joakim Brandt")
    page.get_by_role("link", name="New bowler “Joakim Brandt”").click()
    page.get_by_label("Phone").fill("555 0142 7788")
    page.get_by_label("right hand").check()
    sign(page, "Save")
    expect(page.get_by_role("alert")).to_contain_text("one of these")  # the same phone as Anna Johnson
    expect(page.locator("section.notice")).to_contain_text("Anna Johnson")
    page.get_by_label("Phone").fill("555 0151 6402")
    page.get_by_role("button", name="Save").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Joakim Brandt")


def add_system_and_shop(page: Page) -> None:
    page.get_by_role("link", name="Hardware", exact=True).click()
    page.get_by_role("link", name="New system").click()
    page.get_by_label("Your label").fill("Push lock, plain")
    leave(page, "Bore", "1 1/2")
    leave(page, "Outer sleeve, outside", "1 1/2")
    page.get_by_label("Inner outsides offered").fill("1 1/4, 1 3/8")
    leave(page, "Sleeve length", "2 3/4")
    leave(page, "Lock, below the surface", "2 3/8")
    leave(page, "Inner, solid length", "1 7/8")
    page.get_by_label("How its height is set").select_option("bore_floor")
    sign(page, "Save")
    expect(page.get_by_role("heading", level=1)).to_have_text("Push lock, plain")
    page.get_by_role("link", name="Shops", exact=True).click()
    page.get_by_role("link", name="Quarry Lane Pro Shop").last.click()
    page.get_by_label("Hardware", exact=True).select_option(label="Push lock, plain")
    page.get_by_label("Depth", exact=True).fill("2 3/4")
    page.get_by_label("Measured from").select_option("collar")
    sign(page, "Add")
    expect(page.get_by_role("main")).to_contain_text("Push lock, plain: 2 3⁄4")


def make_fit(page: Page, keep_screenshot: KeepScreenshot) -> None:
    page.goto("/?q=brandt")
    page.get_by_role("link", name="Joakim Brandt").click()
    page.get_by_role("link", name="New fit, right hand").click()
    leave(page, "Spans, middle × ring", "43/8 x 4 1/8")
    expect(page.locator("#spans-read")).to_contain_text("more than one way")
    leave(page, "Spans, middle × ring", "4 x 4 1/8")
    expect(page.locator("#spans-read")).to_contain_text("middle four; ring four and one-eighth")
    page.get_by_label("Spans were measured").select_option("cut")
    leave(page, "Bridge", "1/4")
    page.get_by_label("Bridge was measured").select_option("cut")
    leave(page, "Finished hole, oval if any", "15/16 + 1/16 @ 45 right")
    thumb = page.locator("fieldset", has_text="Thumb").last
    pitch = page.locator("#thumb_pitch")
    pitch.fill("1/4R")
    pitch.blur()
    expect(page.locator("#thumb_pitch-read")).to_contain_text("R alone can be reverse or right")
    page.locator("#thumb_pitch-read").get_by_role("button", name="1/4 reverse, 0").click()
    expect(pitch).to_have_value("1/4 reverse, 0")
    expect(page.locator("#thumb_pitch-read")).to_contain_text("one-quarter reverse")
    expect(page.locator("#thumb_pitch-read svg")).to_be_visible()
    expect(thumb).to_be_visible()
    page.get_by_label("Hardware wanted").select_option(label="Push lock, plain")
    for digit, hole, lateral in (("middle", "11/16", "1/16 left"), ("ring", "21/32", "1/8 right")):
        for name, text in (("hole", hole), ("cut", "31/32"), ("pitch", f"1/4 reverse, {lateral}")):
            page.locator(f"#{digit}_{name}").fill(text)
            page.locator(f"#{digit}_{name}").blur()
    expect(page.locator("#sketch svg.grip")).to_be_visible()
    expect(page.locator("#sketch")).to_contain_text("sleeve to cut")
    keep_screenshot(page, "fit")
    sign(page, "Save draft")
    expect(page.get_by_role("heading", level=1)).to_contain_text("Fit A")
    sign(page, "Put in force")
    expect(page.locator(".title-block")).to_contain_text("in force")


def revise_and_compare(page: Page, keep_screenshot: KeepScreenshot) -> None:
    page.get_by_role("link", name="Revise the fit").click()
    page.get_by_label("Reason for this revision").fill("ring finger reaches less")
    leave(page, "Spans, middle × ring", "4 x 4 3/32")
    sign(page, "Save draft")
    page.get_by_role("button", name="Side by side").click()
    row = page.get_by_role("row", name=re.compile("Span to ring"))
    expect(row).to_contain_text("1⁄32 shorter")
    keep_screenshot(page, "comparison")


def drill(page: Page, keep_screenshot: KeepScreenshot) -> None:
    page.goto("/?q=brandt")
    page.get_by_role("link", name="Joakim Brandt").click()
    page.get_by_role("link", name="New ball", exact=True).click()
    page.get_by_label("What you call it").fill("Red solid, new")
    expect(page.get_by_label("Circumference")).to_have_value("27")
    page.get_by_label("Serial").fill("QL-2001")
    sign(page, "Save")
    page.get_by_role("link", name="Drill this ball").click()
    expect(page.locator("#numbers")).to_contain_text("Sleeve bore")
    expect(page.locator("#numbers")).to_contain_text("our collar")
    page.get_by_text("change", exact=True).click()
    leave(page, "Notch points to", "6:00")
    page.get_by_label("straight, the hole is tilted in the inner").check()
    page.get_by_label("A new inner, outside").fill("1 1/4")
    page.get_by_label("A new inner, outside").blur()
    wall = page.locator("#checks li", has_text="Least wall of the inner")
    expect(wall).to_contain_text("fails")
    page.get_by_label("at the thumb's pitch").check()
    expect(wall).to_have_count(0)
    held = page.locator("#numbers tr", has_text="Least wall of the inner")
    expect(held).to_contain_text("holds")
    page.get_by_role("button", name="Drill the fingers 57/64 deep").click()
    expect(page.get_by_text("One check fails")).to_have_count(0)
    keep_screenshot(page, "plan")
    sign(page, "Save this plan")
    expect(page.get_by_role("heading", name="Before the first cut")).to_be_visible()
    page.get_by_text("Drilled without the bench").click()
    leave(page, "Bore depth met", "2 3/4 collar")
    page.get_by_label("Measured from").select_option("collar")
    sign(page, "All holes are drilled and flush")
    expect(page.locator(".title-block")).to_contain_text("drilled")


def finish(page: Page, keep_screenshot: KeepScreenshot) -> None:
    page.get_by_label("To middle", exact=True).fill("3 47/64")
    page.get_by_label("To ring", exact=True).fill("99.2 mm")
    page.get_by_label("To ring", exact=True).blur()
    expect(page.locator("#verdict")).to_contain_text("within tolerance")
    expect(page.locator("#verdict")).to_contain_text("too long")
    expect(page.locator("#verdict")).to_contain_text("As drilled, finished spans")
    expect(page.locator("#verdict")).to_contain_text("ASSUMED")
    keep_screenshot(page, "finish")
    sign(page, "Log these")
    expect(page.get_by_text("Everything measured")).to_be_visible()
    sign(page, "Close this drilling")
    expect(page.locator("#close-reason-error")).to_contain_text("out of tolerance")
    page.get_by_label("Reason, if it is out of tolerance").fill("felt right in the hand")
    page.get_by_role("button", name="Close this drilling").click()
    expect(page.locator(".title-block")).to_contain_text("closed")
    page.get_by_role("link", name="Joakim Brandt").click()
    expect(page.get_by_role("main")).to_contain_text("felt right in the hand")
    page.get_by_text(re.compile("^History")).click()
    expect(page.locator(".history")).to_contain_text("verdict")
    keep_screenshot(page, "bowler")


def take_in_visitor(page: Page, keep_screenshot: KeepScreenshot) -> None:
    page.get_by_role("link", name="Visitor", exact=True).click()
    page.get_by_label("Name", exact=True).fill("Orla Fenn")
    page.get_by_label("right hand").check()
    page.get_by_label("New shop's name").fill("Bridge End Drilling")
    page.get_by_label("Hardware", exact=True).select_option(label="Push lock, plain")
    leave(page, "Inner, outside", "1 1/4")
    leave(page, "Pitch of the bore it was trimmed in", "1/4 reverse, 0")
    leave(page, "That shop's bore depth", "unknown")
    sign(page, "Log it")
    expect(page.locator("#sit")).to_contain_text("Make a trial fit")
    for depth, stood in (("2 3/4", "1/16 sunk"), ("2 11/16", "flush"), ("2.7", "1/64 sunk")):
        page.get_by_label("Trial depth").fill(depth)
        page.get_by_label("It stands").fill(stood)
        sign(page, "Log this trial")
    expect(page.locator("#trial")).to_contain_text("Wanted depth 2 11⁄16")
    sign(page, "Save as their depth")
    expect(page.locator("#sit .verdict")).to_contain_text("sunk")
    expect(page.locator("#sit")).to_contain_text("shim under the sleeve")
    expect(page.locator("#sit").get_by_role("img", name=re.compile("^Section from front to back"))).to_be_visible()
    page.get_by_text("Ask about another pitch or ball of ours").click()
    page.locator("#ask-pitch").fill("0")
    page.locator("#ask-pitch").blur()
    expect(page.locator("#sitting")).to_contain_text("No depth cures the tilt")
    keep_screenshot(page, "visitor")
    page.get_by_role("link", name="Visitor", exact=True).click()
    page.get_by_label("Shop", exact=True).select_option(label="Bridge End Drilling")
    expect(page.locator("#known")).to_contain_text("This shop is known for Push lock, plain")
    expect(page.locator("#known")).to_contain_text("found by trial fits")


def test_the_whole_job(page: Page, keep_screenshot: KeepScreenshot) -> None:
    add_bowler(page, keep_screenshot)
    add_system_and_shop(page)
    make_fit(page, keep_screenshot)
    revise_and_compare(page, keep_screenshot)
    drill(page, keep_screenshot)
    finish(page, keep_screenshot)
    take_in_visitor(page, keep_screenshot)


def test_the_phone_picture(browser: Browser, shop: Shop, keep_screenshot: KeepScreenshot) -> None:
    context = opened(browser, shop, viewport={"width": 360, "height": 740}, has_touch=True, is_mobile=True)
    page = context.new_page()
    page.goto("/bowlers/1")
    expect(page.get_by_role("heading", level=1)).to_have_text("Anna Johnson")
    keep_screenshot(page, "phone")
    context.close()


def test_a_row_copied_from_a_spreadsheet_fills_the_cells_of_a_visitors_set(page: Page) -> None:
    page.goto("/visitors/set")
    page.locator("#bowler_name").focus()
    page.evaluate(
        """text => {
        const clipboardData = new DataTransfer();
        clipboardData.setData("text/plain", text);
        document.activeElement.dispatchEvent(new ClipboardEvent("paste", { clipboardData, bubbles: true, cancelable: true }));
        }""",
        "Nils Ro\t555 0199\tleft\tRed solid\tSN9\nsecond\trow",
    )
    typed = {n: page.locator(f"#{n}").input_value() for n in ("bowler_name", "bowler_phone", "hand", "ball_label")}
    assert typed == {"bowler_name": "Nils Ro", "bowler_phone": "555 0199", "hand": "left", "ball_label": "Red solid"}
    expect(page.locator("#ball_serial")).to_be_focused()
    expect(page.locator("#ball_serial")).to_have_value("SN9")
