"""The page of the design shows what pages use, in both schemes."""

import re

import pytest

from app.settings import ROOT
from tests.conftest import Client

pytestmark = pytest.mark.both
FLOOR = ("boards", "work", "gauges")
NOT_LOOKS = {"no-print", "sr", "scroll", "tap"}  # a tap that sends is a form: the page has links alone


def test_every_component_of_the_floor_stands_on_the_page_in_both_schemes(client: Client) -> None:
    page = client.get("/design").text
    light, dark = page.partition('class="scheme dark"')[::2]
    macros = "".join((ROOT / "templates" / "macros" / f"{name}.html").read_text(encoding="utf-8") for name in FLOOR)
    plain = re.sub(r"\{%.*?%\}|\{\{.*?\}\}", "", macros, flags=re.S)
    named = {name for words in re.findall(r'class="([^"]+)"', plain) for name in words.split()} - NOT_LOOKS
    assert {"ticket", "next-job", "work-line", "stock", "interval", "few"} <= named
    for scheme in (light, dark):
        shown = {name for words in re.findall(r'class="([^"]+)"', scheme) for name in words.split()}
        assert sorted(named - shown) == []
