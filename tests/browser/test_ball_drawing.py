"""The drawing of the ball as a browser draws it: over random fits no label meets another, a line or the edge; it turns."""

import math

from playwright.sync_api import Browser, Page, expect

from app.pages.ball_labels import letter_ball
from app.pages.environment import templates
from app.pages.pictures import draw_grip
from app.settings import ROOT
from tests.browser.conftest import Shop, opened
from tests.drawn_fits import random_fits

FITS, AT_ONCE = 300, 100
AS_DRAWN = [("page", "")] * 5 + [
    ("bench", "thumb bore"),
    ("bench", "ring"),
    ("bench", "spans"),
    ("bench", ""),
    ("print", ""),
]
# of each drawing: every label's box against the others, the view box, and points of every line and of the ball's edge
COUNT_MEETINGS = """() => [...document.querySelectorAll("svg.grip")].flatMap((svg, number) => {
  const view = svg.viewBox.baseVal, met = [];
  const texts = [...svg.querySelectorAll("text:not(.name)")];
  const boxes = texts.map((text) => text.getBBox());
  const told = (i) => `${number} ${texts[i].textContent}`;
  boxes.forEach((a, i) => {
    if (a.x < view.x || a.y < view.y || a.x + a.width > view.x + view.width || a.y + a.height > view.y + view.height)
      met.push(`${told(i)} leaves the view`);
    boxes.slice(i + 1).forEach((b, j) => {
      if (a.x < b.x + b.width && b.x < a.x + a.width && a.y < b.y + b.height && b.y < a.y + a.height)
        met.push(`${told(i)} meets ${told(i + 1 + j)}`);
    });
  });
  for (const line of svg.querySelectorAll("path, circle")) {
    const b = line.getBBox(); // a line far from every label need not be followed
    const isNear = (a) => a.x <= b.x + b.width && b.x <= a.x + a.width && a.y <= b.y + b.height && b.y <= a.y + a.height;
    if (!boxes.some(isNear)) continue;
    const length = line.getTotalLength(), steps = Math.ceil(length / 0.2);
    for (let k = 0; k <= steps; k++) {
      const at = line.getPointAtLength((length * k) / steps);
      boxes.forEach((a, i) => {
        if (at.x > a.x && at.x < a.x + a.width && at.y > a.y && at.y < a.y + a.height)
          met.push(`${told(i)} lies on ${line.getAttribute("class") || "a line"}`);
      });
    }
  }
  return met.slice(0, 3);
})"""


def test_no_label_meets_another_or_a_line_over_300_random_fits(browser: Browser) -> None:
    """Both hands, every grip, with and without sleeve, notch, oval and old holes."""
    page = browser.new_page()
    page.set_content("<meta charset=utf-8><main></main>")
    page.add_style_tag(path=ROOT / "static/css/ball.css")
    page.add_style_tag(content="body { font-family: system-ui } svg { width: 900px }")
    each = templates.from_string("{% for fit, size, lit in drawn %}{{ drawings.ball(fit, size, lit) }}{% endfor %}")
    fits = [draw_grip(*fit) for fit in random_fits(FITS, 15)]
    labels = 0
    for start in range(0, FITS, AT_ONCE):
        drawn = [(fit, *AS_DRAWN[i % len(AS_DRAWN)]) for i, fit in enumerate(fits[start : start + AT_ONCE])]
        page.locator("main").evaluate("(main, html) => { main.innerHTML = html }", each.render(drawn=drawn))
        labels += page.locator("svg.grip text:not(.name)").count()
        assert page.evaluate(COUNT_MEETINGS) == []
    assert labels > 8 * FITS
    left_out = [text for fit in fits for text in letter_ball(fit, "page").left_out if not text.startswith("old")]
    assert len(left_out) <= FITS / 15, left_out  # of fits no shop would make
    page.close()


def test_the_ball_is_turned_by_buttons_keys_and_drag_and_straightened_to_the_very_same_drawing(
    browser: Browser, shop: Shop
) -> None:
    context = opened(browser, shop, viewport={"width": 1280, "height": 900}, reduced_motion="reduce")
    page = context.new_page()
    page.goto("/drillings/1")
    ball = page.locator(".turnable").first
    still = ball.locator(".still").inner_html()
    for name in ("Turn to the left", "Straighten"):
        box = ball.get_by_role("button", name=name).bounding_box()
        assert box and box["height"] >= 44 <= box["width"]
    ball.get_by_role("button", name="Turn to the right").click()
    expect(ball.locator(".still")).to_be_hidden()
    expect(ball.get_by_role("status")).to_have_text("Turned 15° to the right")
    # independent: the thumb hole's arrow starts at its place turned about the upright axis, by plain trigonometry
    x, y, z = find_foot(page)
    turned = ball.locator(".turned .arrow").first.get_attribute("d") or ""
    across, down = (float(n) for n in turned.removeprefix("M").split(" L")[0].split())
    assert abs(across - (x * math.cos(math.radians(15)) + z * math.sin(math.radians(15)))) < 2e-3
    assert abs(down + y) < 2e-3
    ball.get_by_role("button", name="Turn to the left").press("ArrowDown")
    expect(ball.get_by_role("status")).to_have_text("Turned 15° to the right, 15° down")
    for _ in range(9):
        ball.get_by_role("button", name="Turn to the right").click()
    assert ball.locator(".turned .far").count() > 5  # the grip is behind the ball now, and only faint
    ball.get_by_role("button", name="Straighten").click()
    expect(ball.locator(".turned")).to_have_count(0)
    assert ball.locator(".still").inner_html() == still
    box = ball.locator("svg").bounding_box()
    assert box
    page.mouse.move(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    page.mouse.down()
    page.mouse.move(box["x"] + box["width"] / 2 + 60, box["y"] + box["height"] / 2, steps=3)
    page.mouse.up()
    expect(ball.get_by_role("status")).to_contain_text("to the right")
    page.keyboard.press("Escape")
    context.close()


def find_foot(page: Page) -> list[float]:
    """Where the first arrow begins in space, as the page itself says."""
    read = "t => JSON.parse(t.textContent).shapes.find(s => s.kind === 'arrow').points[0]"
    found: list[float] = page.locator(".points").first.evaluate(read)
    return found
