"""A ball laid out from its bowler's axis point: chosen, marked by strips, drilled by it; for both hands and no thumb.

Places and arcs are those of the worked example of the project's geometry contract: 27 in, 4 1/2 over and 1/2 up,
4 in by 35° by 40°.
"""

import re

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import KeepScreenshot, Shop
from tests.browser.test_bench import tap_initials
from tests.browser.test_every_page import DIM, SMALL, TOUCH_PX, WIDE, overflow, problems, set_width
from tests.browser.test_fewer_holes import make_fit
from tests.conftest import not_none

pytestmark = pytest.mark.once
NUMBERS = {"Pin to axis point": "4", "Axis-line angle": "35", "Drilling angle": "40"}
BOWLERS = {"right": 1, "left": 2}  # of the demo, with a fit in force of this hand
UNFITTED = 8


def add_ball(page: Page, bowler: int) -> str:
    """A new ball of 27 in; returns its address."""
    page.goto(f"/bowlers/{bowler}/balls/new")
    page.get_by_label("What you call it").fill("Layout ball")
    page.get_by_label("Serial").fill("LB-1")
    tap_initials(page)
    page.get_by_role("button", name="Save").click()
    page.wait_for_url(re.compile(r"/balls/\d+$"))
    return page.url


def record_point(page: Page, bowler: int, hand: str) -> None:
    page.goto(f"/bowlers/{bowler}/axis-points")
    page.locator("form").get_by_text(f"{hand} hand", exact=True).click()
    page.get_by_label("Over and up").fill("4 1/2 over 1/2 up")
    page.get_by_label("How it was found").select_option("ring")
    tap_initials(page)
    page.get_by_role("button", name="Save this axis point").click()
    expect(page.get_by_role("main")).to_contain_text("counts")


def type_layout(page: Page, numbers: dict[str, str]) -> None:
    for label, text in numbers.items():
        page.locator("#layout").get_by_label(label, exact=True).fill(text)
    page.locator("#layout [name=note]").focus()


def choose(page: Page) -> None:
    tap_initials(page)
    page.get_by_role("button", name="Choose this layout").click()
    expect(page.locator(".title-block")).to_contain_text("chosen")


_FIND_MARK = """([kind, x, y]) => {
  const mark = document.querySelector(`#worked .still path.${kind}`)
  if (!mark) return false
  const box = mark.getBBox()
  return Math.hypot(box.x + box.width / 2 - x, -box.y - box.height / 2 - y) < 0.02
}"""


def expect_mark(page: Page, kind: str, x: float, y: float) -> None:
    """Waits until the middle of a mark stands there in the drawing, inches, y up: the drawing follows what is typed."""
    page.wait_for_function(_FIND_MARK, arg=[kind, x, y])


@pytest.mark.parametrize("hand", ["right", "left"])
def test_a_layout_is_typed_drawn_chosen_printed_and_drilled(
    shop: Shop, page: Page, keep_screenshot: KeepScreenshot, hand: str
) -> None:
    page.set_viewport_size({"width": 1024, "height": 768})
    side = 1 if hand == "right" else -1
    record_point(page, BOWLERS[hand], hand)
    ball = add_ball(page, BOWLERS[hand])
    page.get_by_role("link", name="layout", exact=True).click()

    type_layout(page, NUMBERS)
    expect(page.locator("#worked path.pin")).to_be_visible()  # drawn before it is saved
    expect_mark(page, "pin", side * 0.9349, 3.1025)  # R·sin(across/R), R·cos(across/R)·sin(along/R)
    expect(page.locator("#told .arcs")).to_contain_text("3.907")
    swung = page.locator(".marking-steps .swung")
    ways = ("anticlockwise", "clockwise")[::side]
    expect(swung).to_have_text([f"40° {ways[0]}", f"35° {ways[1]}", "square", "square"])
    keep_screenshot(page, f"layout-{hand}")
    type_layout(page, {"Pin to axis point": "13 1/2"})
    choose_refused(page)
    type_layout(page, {"Pin to axis point": "4"})
    choose(page)
    assert problems(page) == []

    sheet = page.context.new_page()
    sheet.goto(not_none(page.get_by_role("link", name="Marking list and strips, 1:1").get_attribute("href")))
    expect(sheet.locator("svg.strip")).to_have_count(7)  # six arcs, the longest in two pieces
    expect(sheet.locator(".check-arcs")).to_contain_text("3.670")
    assert problems(sheet) == []
    keep_screenshot(sheet, f"layout-strips-{hand}")
    sheet.close()

    page.goto(ball)
    page.get_by_role("link", name="Drill this ball").click()
    page.get_by_role("button", name="Save this plan").click()
    expect(page.locator(".laid-by")).to_contain_text("35° · 40°")
    page.goto(f"{ball}/layout")
    set_width(page, 360)
    page.evaluate("document.querySelectorAll('details').forEach(d => d.open = true)")
    assert overflow(page) <= 0
    assert page.evaluate(WIDE) == []
    assert page.evaluate(SMALL, TOUCH_PX) == []
    page.emulate_media(color_scheme="dark", reduced_motion="reduce")
    assert page.evaluate(DIM) == []
    assert problems(page) == []
    keep_screenshot(page, f"layout-phone-{hand}")


def choose_refused(page: Page) -> None:
    tap_initials(page)
    page.get_by_role("button", name="Choose this layout").click()
    expect(page.locator("#pin_axis-error")).to_be_visible()
    expect(page.locator("#layout [name=drilling]")).to_have_value("40")


def test_a_favourite_fills_the_fields_in_one_tap_and_two_layouts_stand_side_by_side(
    shop: Shop, page: Page, keep_screenshot: KeepScreenshot
) -> None:
    record_point(page, 1, "right")
    page.goto(add_ball(page, 1) + "/layout")
    type_layout(page, NUMBERS)
    choose(page)
    page.locator(".folds > details").filter(has_text="counts").locator("> summary").click()
    page.get_by_text("Keep as a favourite").click()
    page.get_by_label("What it is called").fill("Smooth")
    tap_in(page, "form[action$='/favourite']")
    page.get_by_role("button", name="Keep it").click()
    type_layout(page, {"Drilling angle": "70"})
    choose(page)
    page.get_by_role("link", name=re.compile("^Smooth")).click()
    expect(page.locator("#layout [name=drilling]")).to_have_value("40")
    expect(page.locator(".title-block")).to_contain_text("not saved")
    page.get_by_text("Compare two layouts").click()
    page.get_by_role("button", name="Side by side").click()
    row = page.locator("tr").filter(has_text="Drilling angle")
    expect(row.locator(".by")).to_have_text("−30°")
    assert problems(page) == []
    keep_screenshot(page, "layout-comparison")


def tap_in(page: Page, form: str) -> None:
    page.locator(form).get_by_role("radio", name="TB", exact=True).check()


def test_places_tapped_on_the_drawing_are_read_back_also_after_the_ball_was_turned(
    shop: Shop, page: Page, keep_screenshot: KeepScreenshot
) -> None:
    record_point(page, 1, "right")
    page.goto(add_ball(page, 1) + "/layout")
    type_layout(page, NUMBERS)
    choose(page)
    page.get_by_text("Read it back from a ball that is drilled").click()
    page.locator("[name=tapped][value=pin]").check()
    tap(page, "#worked .still path.pin")
    expect(page.locator("#tap-for")).to_contain_text("Tap the mass mark")
    page.get_by_role("button", name="Turn up").click()
    page.wait_for_timeout(300)  # until the ball has turned
    tap(page, "#worked .turned path.mass-mark")
    expect(page.locator("#tap-for")).to_be_hidden()
    expect(page.locator("[name=mark_along_way]:checked")).to_have_value("palm")
    page.get_by_role("button", name="Read back").click()
    read = {
        name: float(page.locator(f"#layout [name={name}]").input_value())
        for name in ("pin_axis", "axis_line", "drilling")
    }
    assert read["pin_axis"] == pytest.approx(4, abs=0.06)
    assert read["axis_line"] == pytest.approx(35, abs=1.5)
    assert read["drilling"] == pytest.approx(40, abs=1.5)
    keep_screenshot(page, "layout-read-back")


def tap(page: Page, mark: str) -> None:
    box = not_none(page.locator(mark).first.bounding_box())
    page.mouse.click(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)


def test_a_thumbless_ball_is_laid_out_about_its_plus(shop: Shop, page: Page, keep_screenshot: KeepScreenshot) -> None:
    make_fit(page, "thumbless", "right")
    tap_initials(page)
    page.get_by_role("button", name="Save").first.click()
    tap_initials(page)
    page.get_by_role("button", name="Put in force").click()
    record_point(page, UNFITTED, "right")
    page.goto(add_ball(page, UNFITTED) + "/layout")
    type_layout(page, NUMBERS)
    expect(page.locator("#worked path.pin")).to_be_visible()
    expect(page.locator("#worked .still path.cut-line")).to_have_count(1)  # the palm's plus
    expect(page.locator("#worked .still path.sleeve")).to_have_count(0)
    expect(page.locator("#answer")).not_to_contain_text("thumb")
    keep_screenshot(page, "layout-thumbless")
