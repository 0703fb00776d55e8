"""What every page carries: what it loads is the version we checked, and its parts stand where they should."""

import hashlib
import re

from fastapi import FastAPI

from app.pages.render import Demo
from app.settings import ROOT
from tests.conftest import Client

HTMX_2_0_10 = "71ea67185bfa8c98c39d31717c6fce5d852370fcdfd129db4543774d3145c0de"  # pragma: allowlist secret


def test_htmx_is_the_file_the_build_brings() -> None:
    assert hashlib.sha256((ROOT / "static/htmx/htmx.min.js").read_bytes()).hexdigest() == HTMX_2_0_10


def test_the_pages_load_nothing_from_elsewhere(client: Client) -> None:
    for url in ("/static/htmx/htmx.min.js", "/static/css/page.css", "/static/spanbook.js", "/static/icon.svg"):
        assert client.get(url).status_code == 200
    page = client.get("/").text
    assert "http://" not in page.replace("http://shop.test", "")
    assert "https://" not in page


def test_the_demos_line_stands_in_a_landmark(app: FastAPI, client: Client) -> None:
    app.state.demo = Demo(staff_id=1, pin="0000")
    body = client.get("/").text.partition("<body")[2].partition(">")[2]
    outside = re.sub(r"<(header|aside|main)\b.*?</\1>", "", body, flags=re.DOTALL)
    assert re.sub(r"<[^>]*>|\s", "", outside) == "Skiptothecontent"
    assert '<aside class="demo" aria-label="About this demo">Demo: an invented shop' in body


def test_a_file_is_not_completed_by_itself(client: Client) -> None:
    """HTML: autocomplete and value do not apply to an input of type file."""
    inputs = re.findall(r"<input[^>]*type=\"file\"[^>]*>", client.get("/visitors/set").text)
    assert inputs
    assert not any("autocomplete" in each or "value=" in each for each in inputs)


def test_no_line_of_a_template_is_longer_than_160_characters() -> None:
    lines = {p: p.read_text(encoding="utf-8").splitlines() for p in (ROOT / "templates").rglob("*.html")}
    assert len(lines) > 40
    assert [f"{p}:{i}" for p, all_ in lines.items() for i, line in enumerate(all_, 1) if len(line) > 160] == []


def test_what_the_readme_links_to_is_there() -> None:
    linked = re.findall(r"\]\(([^)#:]+)\)", (ROOT / "README.md").read_text())
    assert len(linked) > 20
    assert [path for path in linked if not (ROOT / path).is_file()] == []
