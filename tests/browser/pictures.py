"""Pictures of every page of the demo, and the heights of the main ones: python -m tests.browser.pictures FOLDER

Each page at four widths in both schemes and in print, to be looked at one by one; FOLDER/index.html shows them all.
`--only TEXT` takes the pages whose address has it.
"""

import argparse
import re
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from urllib.request import urlopen

from playwright.sync_api import Page, sync_playwright

from seed_demo.saturday import FULLEST
from tests.browser.conftest import ARGUMENTS, CHROMIUM
from tests.pages.test_pages import PAGES

SIZES = ((1280, 900), (1024, 768), (768, 1024), (360, 740))
MAIN = {  # the main pages on the demo's fullest record: address, greatest height at 1280 and at 360
    "/": (1600, None),
    f"/bowlers/{FULLEST.bowler}": (1400, None),
    f"/bowlers/{FULLEST.unfitted}/fits/new": (1400, None),
    f"/fits/{FULLEST.draft}/edit": (1400, None),
    f"/fits/{FULLEST.fit}": (None, None),
    f"/drillings/{FULLEST.failing}": (1500, 3000),
    f"/drillings/{FULLEST.planned}": (1500, 3000),
    f"/drillings/{FULLEST.drilled}": (None, None),
    f"/drillings/{FULLEST.closed}": (None, None),
    f"/drillings/{FULLEST.benched}/bench": (900, 740),
    f"/inners/{FULLEST.inner}": (None, None),
    f"/balls/{FULLEST.ball}": (None, None),
    "/board": (1400, None),
}
FLOOR = (
    "/tickets/8",
    f"/tickets/new?bowler_id={FULLEST.bowler}",
    "/follow-ups",
    "/squads",
    "/squads/1",
)  # of the demo alone


@contextmanager
def run_demo() -> Iterator[str]:
    """Runs `spanbook demo` on a port that was free a moment ago, until the pictures are made."""
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        port = found.getsockname()[1]
    command = [sys.executable, "-m", "app.cli", "demo", "--no-browser", "--port", str(port)]
    server = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    try:
        for _ in range(240):
            try:
                urlopen(f"http://127.0.0.1:{port}/healthz").close()
                break
            except OSError:
                time.sleep(0.25)
        yield f"http://127.0.0.1:{port}"
    finally:
        server.terminate()
        server.wait(20)


def name_file(url: str) -> str:
    return re.sub(r"\W+", "_", url).strip("_") or "counter"


def take_pictures(page: Page, url: str, folder: Path) -> list[str]:
    """Takes a page at each size and scheme, and as it prints; returns the names of the files."""
    names = []
    for width, height in SIZES:
        page.set_viewport_size({"width": width, "height": height})
        for scheme in ("light", "dark"):
            page.emulate_media(color_scheme=scheme, media="screen")
            names.append(f"{name_file(url)}-{width}-{scheme}.png")
            page.screenshot(path=folder / names[-1], full_page=True)
    page.emulate_media(color_scheme="light", media="print")
    page.set_viewport_size({"width": 703, "height": 1000})
    names.append(f"{name_file(url)}-print.png")
    page.screenshot(path=folder / names[-1], full_page=True)
    page.emulate_media(media="screen")
    return names


def measure_heights(page: Page, url: str) -> tuple[int, ...]:
    """The height of a page in px at each size."""
    heights = []
    for width, height in SIZES:
        page.set_viewport_size({"width": width, "height": height})
        heights.append(int(page.evaluate("document.documentElement.scrollHeight")))
    return tuple(heights)


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("folder", type=Path)
    asked.add_argument("--only", default="")
    asked.add_argument("--heights", action="store_true", help="print the heights alone")
    given = asked.parse_args()
    given.folder.mkdir(parents=True, exist_ok=True)
    urls = [url for url in dict.fromkeys((*MAIN, *FLOOR, *PAGES)) if given.only in url]
    shown = []
    with run_demo() as shop, sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        page = browser.new_context(base_url=shop, reduced_motion="reduce").new_page()
        print(f"{'page':40}", *(f"{width:>6}" for width, _ in SIZES))
        for url in urls:
            page.goto(url)  # never idle: the board's stream of events stays open
            heights = measure_heights(page, url)
            if url in MAIN:
                wide, narrow = MAIN[url]
                is_high = (wide and heights[0] > wide) or (narrow and heights[-1] > narrow)
                print(f"{url:40}", *(f"{height:6}" for height in heights), "too high" if is_high else "")
            if not given.heights:
                shown += take_pictures(page, url, given.folder)
        browser.close()
    figures = "\n".join(f'<figure><img src="{n}" loading="lazy"><figcaption>{n}</figcaption></figure>' for n in shown)
    (given.folder / "index.html").write_text(f"<!doctype html><title>Pages</title>{figures}", encoding="utf-8")


if __name__ == "__main__":
    main()
