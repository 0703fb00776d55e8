"""Work is taken in by few keys or taps, without JavaScript too, and a ball mixed up is seen in red."""

from datetime import date

from playwright.sync_api import Browser, Page, expect

from tests.browser.conftest import KeepScreenshot, Shop, opened
from tests.browser.test_every_page import overflow, problems

MOST_KEYS, MOST_TAPS = 12, 6  # beside the bowler's name and the promise, as the shop asked


class Keys:
    """Presses keys and counts them."""

    def __init__(self, page: Page) -> None:
        self.page, self.count = page, 0

    def press(self, *keys: str) -> None:
        for key in keys:
            self.page.keyboard.press(key)
            self.count += 1


def test_a_known_bowlers_ball_is_taken_in_by_few_keys(page: Page, keep_screenshot: KeepScreenshot) -> None:
    page.goto("/")
    page.keyboard.type("olander")
    expect(page.locator("#results a.row")).to_have_count(1)
    keys = Keys(page)
    keys.press("Enter")
    expect(page.get_by_role("link", name="Take work in")).to_be_focused()
    keys.press("Enter")
    expect(page.locator('input[name="what"]:checked')).to_be_focused()
    keep_screenshot(page, "ticket")
    keys.press("Tab", "Tab", "ArrowRight", "ArrowRight", "Enter")  # kind and ball as proposed; the promise
    expect(page.get_by_role("heading", name="Grey solid")).to_be_visible()
    expect(page.locator(".title-block")).to_contain_text("Promised")
    expect(page.locator(".title-block")).not_to_contain_text("no time promised")
    assert keys.count <= MOST_KEYS, keys.count


def test_a_ball_just_brought_is_taken_in_by_few_keys(page: Page) -> None:
    page.goto("/")
    page.keyboard.type("tanaka")
    expect(page.locator("#results a.row")).to_have_count(1)
    keys = Keys(page)
    keys.press("Enter")
    expect(page.get_by_role("link", name="Take work in")).to_be_focused()
    keys.press("Enter")
    expect(page.locator('input[name="what"]:checked')).to_be_focused()
    keys.press("Tab", "Tab", "j", "a", "d", "e", "Enter")
    expect(page.get_by_role("heading", name="jade")).to_be_visible()
    assert keys.count <= MOST_KEYS, keys.count


def test_a_tap_on_its_way_when_the_board_moves_hits_no_other_ticket(page: Page) -> None:
    page.goto("/tickets/new?bowler_id=1")
    page.locator(".picked", has_text="sand or polish").click()
    page.locator(".picked", has=page.locator('[value="ball:2"]')).click()
    page.get_by_role("button", name="Take it in").click()
    expect(page.get_by_role("heading", name="Spare ball")).to_be_visible()
    page.goto("/board")
    button = page.locator(".ticket-tap button").first
    expect(button).to_be_visible()
    told = button.evaluate(
        """button => {
          const held = document.querySelector("#floor-board"), sent = [];
          held.addEventListener("submit", event => { sent.push(event.type); event.preventDefault(); });
          held.dispatchEvent(new Event("htmx:afterSwap"));
          button.click();
          const soon = sent.length, clock = performance.now;
          performance.now = () => clock.call(performance) + 60000;
          button.click();
          return [soon, sent.length];
        }"""
    )
    assert told == [0, 1]


def test_a_known_bowlers_ball_is_taken_in_by_few_taps(browser: Browser, shop: Shop) -> None:
    context = opened(browser, shop, has_touch=True, viewport={"width": 360, "height": 800})
    page, taps, begun = context.new_page(), 0, date.today()
    page.goto("/?q=olander")
    for tapped in (
        page.get_by_role("link", name="Take in"),
        page.locator(".picked", has_text="thumb only"),
        page.locator(".picked", has_text="tomorrow 17:00"),  # an hour from now may be tomorrow too
        page.get_by_role("button", name="Take it in"),
    ):
        tapped.tap()
        taps += 1
    expect(page.get_by_role("heading", name="Grey solid")).to_be_visible()
    day = "tomorrow" if date.today() == begun else "today"  # midnight has passed
    expect(page.locator(".title-block")).to_contain_text(f"{day} 17:00")
    assert taps <= MOST_TAPS
    context.close()


def test_a_ticket_from_intake_to_hand_over_without_javascript(browser: Browser, shop: Shop) -> None:
    context = opened(browser, shop, java_script_enabled=False)
    page = context.new_page()
    page.goto("/tickets/new?bowler_id=1&thing=ball:1")
    page.locator('input[name="what"][value="sand"]').check()
    page.get_by_label("In the bowler's words").fill("the thumb sticks")
    page.get_by_role("button", name="Take it in").click()
    for tap in ("Tagged and racked", "Take it", "Done"):
        page.locator(".strip").get_by_role("button", name=tap).click()
    page.locator(".strip").get_by_role("link", name="Hand over").click()
    scan(page, "#hand-over", "Hand over", "/balls/2")
    expect(page.locator(".strip.bad")).to_contain_text("You hold Spare ball, plain")
    scan(page, "#hand-over", "Hand over", "QL-1042")
    expect(page.locator(".strip")).to_contain_text("Handed over")
    context.close()


def test_a_ticket_at_each_stage_fits_a_phone_and_axe_finds_nothing(browser: Browser, shop: Shop) -> None:
    context = opened(browser, shop, viewport={"width": 360, "height": 800}, reduced_motion="reduce")
    page = context.new_page()
    page.goto("/squads")
    page.get_by_role("textbox", name="Name").fill("Cup")
    page.get_by_label("Begins").fill("2099-05-02T12:00")
    page.get_by_text("A tournament").click()
    page.get_by_role("button", name="Add it").click()
    page.goto("/tickets/new?bowler_id=1&thing=ball:1")
    page.locator(".picked", has_text="sand or polish").click()
    page.get_by_text("Another time, a squad").click()
    page.get_by_label("Squad or event").select_option("Cup")
    page.get_by_role("button", name="Take it in").click()
    found = look(page)
    scan(page, "#ready", "Tagged and racked", "/balls/1")
    found += look(page)
    scan(page, "#take", "Take it", "/balls/2")
    expect(page.locator(".strip.bad")).to_be_visible()
    found += look(page)
    scan(page, "#take", "Take it", "/balls/1")
    page.get_by_text("It has to wait").click()
    page.locator(".picked", has_text="glue").click()
    page.get_by_label("Minutes to cure").fill("30")
    page.get_by_role("button", name="Wait").click()
    expect(page.locator(".strip")).to_contain_text("Cures until")
    found += look(page)
    page.get_by_label("Why you go on before").fill("as its maker allows")
    page.locator("#wait").get_by_role("button", name="Go on").click()
    page.get_by_role("button", name="Done").click()
    found += look(page)
    scan(page, "#hand-over", "Hand over", "/balls/1")
    expect(page.locator("#not-fine")).to_be_visible()
    found += look(page)
    for url in ("/squads/1", "/tickets/1/edit", "/tickets/1/message", "/bowlers/1", "/balls/1"):
        page.goto(url)
        found += look(page)
    assert found == []
    context.close()


def scan(page: Page, form: str, button: str, text: str) -> None:
    own = page.locator(form)
    own.get_by_label("Scan of its tag").fill(text)
    own.get_by_role("button", name=button).click()


def look(page: Page) -> list[str]:
    """What is wrong with a page: axe's findings in both colours, and what does not fit the screen."""
    page.evaluate("document.querySelectorAll('details').forEach(d => d.open = true)")
    found = problems(page)
    page.emulate_media(color_scheme="dark")
    found += problems(page, "color-contrast")
    page.emulate_media(color_scheme="light")
    over = overflow(page)
    return found + ([f"{page.url} is {over} px too wide"] if over > 0 else [])
