"""A telephone's photo is added to a fit and an inner, opened large and taken back: at 360 px, with a script and without."""

import re

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.browser.conftest import KeepScreenshot, Shop, opened
from tests.browser.test_bench import tap_initials
from tests.browser.test_every_page import overflow, problems
from tests.photos.made import make_picture, place_exif, write

pytestmark = pytest.mark.once
HELD = write(make_picture((3024, 2268)), exif=place_exif(6))


def choose(page: Page, data: bytes) -> None:
    page.get_by_label("Photo", exact=True).set_input_files(
        {"name": "IMG_0001.JPG", "mimeType": "image/jpeg", "buffer": data}
    )


@pytest.mark.parametrize("has_script", [True, False], ids=["script", "no script"])
@pytest.mark.parametrize("path", ["/fits/1", "/inners/1"])
def test_a_photo_is_added_opened_and_taken_back_on_a_telephone(
    browser: Browser, shop: Shop, keep_screenshot: KeepScreenshot, path: str, has_script: bool
) -> None:
    phone = {"width": 360, "height": 740}
    context = opened(browser, shop, viewport=phone, has_touch=True, java_script_enabled=has_script)
    page = context.new_page()
    page.goto(path)
    page.get_by_text("Add a photo", exact=True).tap()
    choose(page, b"no picture at all")
    tap_initials(page)
    page.get_by_role("button", name="Add this photo").tap()
    expect(page.locator("#add-photo-error")).to_contain_text("no picture that can be read")
    assert overflow_without_script(page, has_script) <= 0
    keep_screenshot(page, "photo-refused")
    choose(page, HELD)
    page.get_by_role("button", name="Add this photo").tap()

    expect(page).to_have_url(re.compile(rf"{path}#photos$"))
    thumb = page.locator("#photos img")
    expect(thumb).to_have_count(1)
    thumb.scroll_into_view_if_needed()
    box = thumb.bounding_box()
    assert box is not None
    assert box["height"] > box["width"] > 60  # upright, as it was held
    if has_script:
        page.wait_for_function("document.querySelector('#photos img').naturalWidth > 0")
        assert problems(page) == []
        for width in (360, 1280):
            page.set_viewport_size({"width": width, "height": 900})
            assert overflow(page) <= 0
            keep_screenshot(page, f"photo-of{path.replace('/', '-')}-{width}")
        page.set_viewport_size({"width": 360, "height": 740})

    page.get_by_role("link", name="All about this photo").tap()
    if has_script:
        for width in (1280, 360):
            page.set_viewport_size({"width": width, "height": 900})
            assert overflow(page) <= 0
            keep_screenshot(page, f"photos-of{path.replace('/', '-')}-{width}")
        assert problems(page) == []
    large = page.locator("ul.photos a").get_attribute("href")
    assert large
    assert page.goto(large)
    assert (
        page.locator("img").evaluate("e => [e.naturalWidth, e.naturalHeight]") == [1500, 2000] if has_script else True
    )
    page.go_back()
    page.get_by_text("Take photo 1 back", exact=True).tap()
    page.get_by_label("Why").fill("of another hand")
    page.get_by_role("button", name="Take it back").tap()
    expect(page.locator("ul.photos img")).to_have_count(0)
    page.locator("details.history summary").tap()
    expect(page.locator("details.history")).to_contain_text("of another hand")
    context.close()


def overflow_without_script(page: Page, has_script: bool) -> int:
    """Without a script nothing can be asked of the page but what is seen."""
    return overflow(page) if has_script else 0
