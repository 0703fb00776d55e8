"""Makes the README's screenshots again: python -m tests.browser.screenshots"""

import os
import subprocess
import sys
from pathlib import Path

from playwright.sync_api import sync_playwright

from tests.browser.conftest import ARGUMENTS, CHROMIUM
from tests.browser.pictures import run_demo

SHOWN = " or ".join(
    (
        "whole",
        "phone",
        "empty",
        "set_of_ten",
        "signs_in_where",
        "acts_by_pin",
        "loser",
        "lets_somebody",
        "known_bowlers_ball",
        "read_back_while",
        "printed_here",
    )
)

FOLDER = Path(__file__).parent / "screenshots"


def show_board() -> None:
    """The demo's board: no test has a shop so full of work."""
    with run_demo() as shop, sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        page = browser.new_page(base_url=shop, viewport={"width": 1280, "height": 800})
        page.goto("/board")
        page.screenshot(path=FOLDER / "board.png")
        browser.close()


if __name__ == "__main__":
    show_board()
    tests = [sys.executable, "-m", "pytest", "tests/browser", "-k", SHOWN]
    sys.exit(subprocess.run(tests, check=False, env={**os.environ, "SPANBOOK_SCREENSHOTS": str(FOLDER)}).returncode)
