"""From the axis point to the verdict in one go, as a person goes: marks, layout, strips, plan, bench, scale.

Strips are held against pyproj's geodesics on a sphere, margins against what was typed and the example's limits.
"""

import base64
import math
import re
from dataclasses import dataclass

import pytest
from playwright.sync_api import Browser, Page, expect

from app.calculation.grip import Hand
from app.calculation.layouts import AxisPoint, Layout
from tests.browser.conftest import KeepScreenshot, Shop, opened
from tests.browser.person import Person, keep_both
from tests.browser.test_bench import PRESS
from tests.browser.test_every_page import type_at_the_counter
from tests.browser.test_fewer_holes import make_fit
from tests.browser.test_story import sign
from tests.calculation.layouts import Globe
from tests.conftest import not_none
from tests.pages.strips_on_paper import POINTS, join, measure_strips

pytestmark = pytest.mark.once

STRIP_IN = 0.01
MASS_OZ, MOVED_OZ = 4.0, 4.25  # taped at the end of the arm, a radius from the middle of a ball of 27 in
ARM_IN = MASS_OZ * 27 / (2 * math.pi) / MOVED_OZ  # statics: mass times its arm
LIMITS_OZ = {"over 10 lb": (3, 3, 3), "8 to 10 lb": (0.75, 0.75, 2)}  # right, finger, top, of the example
WAYS = ("right", "finger", "top")


@dataclass
class Story:
    """What is typed from the first screen to the last, and beside some texts the same as numbers."""

    hand: Hand
    bowler: str
    weight: str
    around: str
    point: tuple[str, AxisPoint]
    marks: dict[str, str]
    layout: tuple[tuple[str, str, str], Layout]
    measured: dict[str, str]
    weighed: dict[str, tuple[str, str]]
    found_oz: tuple[float, float, float]
    limits: str
    verdict: str
    by_keys: bool = False
    thumb: bool = True


STORIES = {
    "right-inner": Story(
        "right", "Anna Johnson", "15 lb 2 oz", "27", ("4 1/2 over 1/2 up", AxisPoint(4.5, 0.5)),
        {"Top weight": "2 3/4", "Pin to mass mark": "6 3/4", "Pin to centre-of-gravity mark": "2",
         "Mass mark to centre-of-gravity mark": "5"},
        (("4", "35", "40"), Layout(4, 35, 40)), {"To middle": "3 47/64", "To ring": "3 55/64"},
        {"right": ("1/2 right", "5/8 right"), "finger": ("1 1/4 finger", "1 1/8 finger"), "top": ("1 3/8 top", "1 1/4 top")},
        (0.5625, 1.1875, 1.3125), "over 10 lb", "inside",
    ),
    "left-by-keys": Story(
        "left", "Piet Olander", "9 lb 12 oz", "26.95", ("5 over 1/4 down", AxisPoint(5, -0.25)),
        {"Top weight": "2 1/2", "Pin to mass mark": "6 3/4", "Pin to centre-of-gravity mark": "1 1/2",
         "Mass mark to centre-of-gravity mark": "5 1/2"},
        (("3 1/2", "60", "30"), Layout(3.5, 60, 30, 6.75)), {"To middle": "4 3/8", "To ring": "4 5/16"},
        {"right": ("1 5/8 left", "1 3/4 left"), "finger": ("7/8 finger", "3/4 finger"), "top": ("1 top", "7/8 top")},
        (-1.6875, 0.8125, 0.9375), "8 to 10 lb", "outside", by_keys=True,
    ),
    "thumbless": Story(
        "right", "Mei Tanaka-Ruiz", "14 lb 8 oz", "27", ("5 1/2 over 3/4 up", AxisPoint(5.5, 0.75)),
        {"Top weight": "3", "Pin to mass mark": "6 1/2", "Pin to centre-of-gravity mark": "2 1/4",
         "Mass mark to centre-of-gravity mark": "4 3/4"},
        (("5", "70", "45"), Layout(5, 70, 45, 6.5)), {"Reach of middle": "2", "Reach of ring": "2 1/8", "Bridge": "1/4"},
        {"right": ("1/2 right", "1/2 right"), "finger": ("5/8 thumb", "1/2 thumb"), "top": ("2 1/2 top", "2 5/8 top")},
        (0.5, -0.5625, 2.5625), "over 10 lb", "inside", thumb=False,
    ),
}  # fmt: skip


def add_bowlers_ball(who: Person, of: Story) -> None:
    """From the counter to the bowler, the axis point and a new ball with its marks; ends at the ball."""
    page = who.page
    type_at_the_counter(page, of.bowler)
    found = page.locator("#results a.row", has_text=of.bowler).first
    who.go(found if who.scripted else page.get_by_role("button", name="Find"))  # the only one of that name
    who.follow("Axis points")
    who.choose(page.get_by_role("main").get_by_label(f"{of.hand} hand", exact=True).first)
    who.type("Over and up", of.point[0])
    who.reach(page.get_by_label("How it was found"))
    page.keyboard.type("from the first")
    who.sign("Save this axis point")
    expect(page.get_by_role("main")).to_contain_text("counts")
    who.follow(of.bowler)
    who.follow("New ball")
    for label, text in {"What you call it": "Red pearl", "Serial": "LB-7", "Weight": of.weight,
                        "Circumference": of.around}.items():  # fmt: skip
        who.type(label, text)
    who.sign("Save")
    who.follow("marks")
    who.type("Weight on the scale", of.weight)
    who.choose(page.get_by_role("main").get_by_label("there is one", exact=True).first)
    for label, text in of.marks.items():
        who.type(label, text)
    who.choose(page.get_by_role("main").get_by_label("left of it", exact=True).first)
    who.sign("Save these marks")


def lay_out(who: Person, of: Story) -> None:
    page = who.page
    who.follow("Red pearl")
    who.follow("layout")
    for label, text in zip(("Pin to axis point", "Axis-line angle", "Drilling angle"), of.layout[0], strict=True):
        who.type(label, text, "#layout")
    who.reach(page.locator("#layout [name=note]"))
    if who.scripted:
        expect(page.locator("#worked path.pin")).to_be_visible()
    who.sign("Choose this layout")
    expect(page.locator(".title-block")).to_contain_text("chosen")


def print_strips(who: Person, of: Story, keep: KeepScreenshot, name: str) -> None:
    """Both PDFs hold the arcs of the layout, walked on a sphere, at 72 points an inch."""
    page = who.page
    who.follow("Marking list and strips, 1:1")
    keep_both(page, keep, f"{name}-strips")
    route = str(page.get_by_role("link", name="As PDF, A4").get_attribute("href"))
    fetched = page.evaluate(
        "async url => btoa(String.fromCharCode(...new Uint8Array(await (await fetch(url)).arrayBuffer())))", route
    )
    globe, point = Globe(float(of.around)), of.point[1]
    axis, pin, mark = globe.lay(of.hand, point, of.layout[1])
    arcs = [globe.arc_in(axis, pin), abs(point.up_in), point.over_in, globe.arc_in(pin, mark)]
    arcs += [globe.arc_in((0, 0), place) for place in (pin, mark)]
    for pdf in (page.pdf(prefer_css_page_size=True), base64.b64decode(fetched)):
        rows = measure_strips(pdf)
        long = [join(rows, arc * POINTS) for arc in arcs]
        assert rows == []
        assert long == pytest.approx([arc * POINTS for arc in arcs], abs=STRIP_IN * POINTS)
    who.go(page.get_by_role("link", name="The layout"))


def plan(who: Person, of: Story) -> str:
    """Confirms the plan; returns the drilling's address."""
    page = who.page
    who.follow(of.bowler)
    who.follow("Red pearl")
    who.follow("Drill this ball")
    who.sign("Save this plan")
    expect(page.locator(".laid-by")).to_contain_text(f"{of.layout[0][1]}° · {of.layout[0][2]}°")
    return page.url


def read_predicted(page: Page) -> list[float]:
    """Right, finger and top in ounces, as shown."""
    rows = page.locator(".weighed-ways .number").all_inner_texts()[:3]
    found = [not_none(re.match(r"([\d.]+) oz (\w+)|even", row.replace("\u2009", " "))) for row in rows]
    return [0.0 if one[1] is None else float(one[1]) * (1 if one[2] in WAYS else -1) for one in found]


def find_undrilled(of: Story) -> list[float]:
    """The ball's own imbalance each way: its top weight at the mark that its arcs place, by spherical trigonometry."""
    globe = Globe(float(of.around))
    _, pin, mark = globe.lay(of.hand, of.point[1], of.layout[1])
    texts = [of.marks[f"{label} to centre-of-gravity mark"] for label in ("Pin", "Mass mark")]
    near, far = (sum(map(_number, text.split())) / globe.radius for text in texts)
    whole = globe.arc_in(pin, mark) / globe.radius
    turn = math.acos((math.cos(far) - math.cos(near) * math.cos(whole)) / (math.sin(near) * math.sin(whole)))
    # left of the line to the mass mark, seen with the pin above, is clockwise from it
    at = globe.walk(pin, globe.azimuth(pin, mark) + math.degrees(turn), near * globe.radius)
    return [sum(map(_number, of.marks["Top weight"].split())) * way for way in globe.vector(at)]


def _number(text: str) -> float:
    whole, _, parts = text.partition("/")
    return int(whole) / int(parts or 1)


def set_up(who: Person, keep: KeepScreenshot) -> None:
    """The owner's part, once: the example of a rule set, and the scale with its calibration."""
    page = who.page
    page.goto("/regulations")
    who.sign("Add the example")
    page.goto("/scales")
    for label, text in {"Your label": "Bench scale", "Smallest division": "1/16", "Arm": f"{ARM_IN:.4f}",
                        "Known mass": f"{MASS_OZ}", "Taped at, from the top of the ball": "6 3/4",
                        "Circumference of that ball": "27", "Without the mass, first": "0", "Without, turned": "0",
                        "With the mass, first": f"{MOVED_OZ}", "With it, turned": f"-{MOVED_OZ}"}.items():  # fmt: skip
        who.type(label, text)
    who.sign("Save this scale")
    keep(page, "scale")


def predict(who: Person, of: Story, drilling: str, keep: KeepScreenshot, name: str) -> None:
    """Before the first cut; what is drilled away counts by the scale's arm once there is one."""
    page = who.page
    who.follow("Static balance")
    by_radius, undrilled = read_predicted(page), find_undrilled(of)
    set_up(who, keep)
    page.goto(drilling)
    who.follow("Static balance")
    keep_both(page, keep, f"{name}-predicted")
    ratio = float(of.around) / (2 * math.pi) / ARM_IN
    expected = [own + (found - own) * ratio for own, found in zip(undrilled, by_radius, strict=True)]
    assert read_predicted(page) == pytest.approx(expected, abs=0.012)
    page.goto(drilling)


def drill(who: Person, of: Story, keep: KeepScreenshot, name: str) -> None:
    """Step by step to the end, each depth met as planned, then what was cut is measured and the drilling closed."""
    page = who.page
    who.go(page.get_by_role("link", name="To the bench"))
    heading = page.get_by_role("heading", level=1)
    for step in range(40):
        words = heading.inner_text()
        keep_both(page, keep, f"{name}-bench-{step:02}")
        if words.startswith("Measure"):
            break
        planned = page.locator(".bench-met .chip.of-2 input")
        if planned.count():
            who.choose(planned)
        who.press(page.get_by_role("button", name=re.compile("^(Done|It is this hand)")))
        expect(heading).not_to_have_text(words)
    assert step >= (14 if of.thumb and of.hand == "right" else 7)
    who.go(page.get_by_role("link", name="Measure and close"))
    for label, text in of.measured.items():
        who.type(label, text, "#finish")
    assert find_room(page) > 0.9
    keep_both(page, keep, f"{name}-measured")
    who.sign("Log these")
    who.sign("Close this drilling")
    expect(page.locator(".title-block")).to_contain_text("closed")
    assert find_room(page) > 0.9
    expect(page.locator(".laid-by")).to_contain_text(f"{of.layout[0][1]}° · {of.layout[0][2]}°")
    keep_both(page, keep, f"{name}-closed")


def find_room(page: Page) -> float:
    """The share of the page's width that the measured spans have; the layout does not stand beside them."""
    wide: float = page.locator(".finish").evaluate("e => e.clientWidth / document.querySelector('main').clientWidth")
    return wide


def weigh(who: Person, of: Story, keep: KeepScreenshot, name: str) -> None:
    page = who.page
    who.follow("Static balance")
    keep_both(page, keep, f"{name}-to-weigh")
    for way, texts in of.weighed.items():
        for n, text in enumerate(texts, 1):
            who.type_into(page.locator(f"#weigh-{way}_{n}"), text)
    keep(page, f"{name}-typed")
    who.sign("Keep this weighing")
    keep_both(page, keep, f"{name}-weighed")
    check_verdict(page, of)


def check_verdict(page: Page, of: Story) -> None:
    """Margins and states from the typed readings: the mean of two, each way, and what two readings are good to."""
    limits = LIMITS_OZ[of.limits]
    u_oz = math.hypot(1 / 16 / math.sqrt(12), 1 / 16) / math.sqrt(2)  # JCGM 100:2008, 4.3.7; the second is ASSUMED
    words = page.locator(".weighing").first.inner_text()
    told = re.findall(
        r"(right or left|finger or thumb|top or bottom)\s+(inside|outside|weigh it), ([\d.]+) oz (to spare|too)", words
    )
    assert [one[0] for one in told] == ["right or left", "finger or thumb", "top or bottom"]
    margins = [float(one[2]) * (1 if one[3] == "to spare" else -1) for one in told]
    due = [limit - abs(found) for limit, found in zip(limits, of.found_oz, strict=True)]
    assert margins == pytest.approx(due, abs=0.0051)
    states = ["inside" if left > 1.96 * u_oz else "outside" if left < -1.96 * u_oz else "weigh it" for left in due]
    assert [one[1] for one in told] == states
    expect(page.locator(".strip").first).to_contain_text(f"Weighed: {of.verdict}")
    expect(page.locator(".under").first).to_contain_text("check against the rules in force")


@pytest.mark.parametrize(("name", "scripted"), [*((name, True) for name in STORIES), ("right-inner", False)])
def test_from_the_axis_point_to_the_verdict(
    browser: Browser, shop: Shop, keep_screenshot: KeepScreenshot, name: str, scripted: bool
) -> None:
    of = STORIES[name]
    context = opened(browser, shop, viewport=PRESS, has_touch=not of.by_keys, java_script_enabled=scripted)
    page = context.new_page()
    who = Person(page, of.by_keys, scripted)
    name += "" if scripted else "-unscripted"
    if not of.thumb:
        make_fit(page, "thumbless", of.hand)
        sign(page, "Save draft")
        sign(page, "Put in force")
    add_bowlers_ball(who, of)
    keep_both(page, keep_screenshot, f"{name}-marks")
    lay_out(who, of)
    keep_both(page, keep_screenshot, f"{name}-layout")
    print_strips(who, of, keep_screenshot, name)
    drilling = plan(who, of)
    keep_both(page, keep_screenshot, f"{name}-plan")
    predict(who, of, drilling, keep_screenshot, name)
    drill(who, of, keep_screenshot, name)
    weigh(who, of, keep_screenshot, name)
    context.close()
