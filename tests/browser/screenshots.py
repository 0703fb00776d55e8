"""Makes the README's screenshots again: python -m tests.browser.screenshots"""

import os
import subprocess
import sys
from pathlib import Path

from playwright.sync_api import sync_playwright

from tests.browser.conftest import ARGUMENTS, CHROMIUM
from tests.browser.pictures import run_demo

SHOWN = "whole or phone or empty or set_of_ten or signs_in_where or acts_by_pin or loser or lets_somebody or known_bowlers_ball"

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
