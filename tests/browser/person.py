"""A person at the screen, who works the real pages by touch or by keys alone."""

from playwright.sync_api import Locator, Page

from tests.browser.conftest import KeepScreenshot
from tests.browser.test_bench import PHONE, PRESS
from tests.browser.test_every_page import overflow


class Person:
    """Works the pages by touch, or by keys alone."""

    def __init__(self, page: Page, by_keys: bool, scripted: bool = True) -> None:
        self.page, self.by_keys, self.scripted = page, by_keys, scripted

    def reach(self, of: Locator) -> None:
        """Taps it, or presses Tab until it is focused."""
        if not self.by_keys:
            return of.tap()
        of.wait_for()
        for _ in range(200):
            if of.evaluate("e => e === document.activeElement"):
                return None
            self.page.keyboard.press("Tab")
        raise AssertionError(f"no key leads to {of}")

    def press(self, of: Locator) -> None:
        self.reach(of)
        if self.by_keys:
            self.page.keyboard.press("Enter")

    def go(self, of: Locator) -> None:
        """Presses what opens another page, and waits for it."""
        with self.page.expect_navigation():
            self.press(of)

    def type(self, label: str, text: str, within: str = "main") -> None:
        self.type_into(self.page.locator(within).get_by_label(label, exact=True), text)

    def type_into(self, of: Locator, text: str) -> None:
        self.reach(of)
        self.page.keyboard.press("Control+A")
        self.page.keyboard.type(text)

    def choose(self, of: Locator) -> None:
        """A chip or a radio: tapped, or its group reached and the arrows pressed until it is chosen."""
        if not self.by_keys:
            return of.locator("..").tap()
        name = of.get_attribute("name")
        at = f"e => document.activeElement.name === '{name}' && document.activeElement.form === e.form"
        for _ in range(200):
            if of.evaluate(at):
                break
            self.page.keyboard.press("Tab")
        self.page.keyboard.press("Space")
        for _ in range(12):
            if of.is_checked():
                return None
            self.page.keyboard.press("ArrowRight")
        raise AssertionError(f"no key chooses {of}")

    def sign(self, button: str) -> None:
        form = self.page.locator("form", has=self.page.get_by_role("button", name=button, exact=True))
        self.go(form.get_by_role("button", name=button, exact=True))

    def follow(self, link: str) -> None:
        self.go(self.page.get_by_role("main").get_by_role("link", name=link, exact=True).first)


def keep_both(page: Page, keep: KeepScreenshot, name: str) -> None:
    """A picture of the press's screen and one of a phone, where nothing is beside the screen."""
    keep(page, name)
    page.set_viewport_size({"width": PHONE["width"], "height": PHONE["height"]})
    assert overflow(page) <= 0, name
    keep(page, f"{name}-phone")
    page.set_viewport_size({"width": PRESS["width"], "height": PRESS["height"]})
