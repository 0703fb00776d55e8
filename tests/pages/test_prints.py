import io
import re

import pypdf
import pytest
from fastapi import FastAPI

from seed_demo.world import FIT
from tests.conftest import Client, not_none
from tests.pages.test_pages import SHEETS


@pytest.mark.parametrize("url", [*SHEETS, "/drillings/3/sheet"])
def test_a_pdf_is_made_of_the_same_page_and_is_byte_stable(client: Client, url: str) -> None:
    first = client.get(f"{url}.pdf")
    assert first.status_code == 200
    assert first.headers["content-type"] == "application/pdf"
    assert first.content.startswith(b"%PDF")
    assert client.get(f"{url}.pdf").content == first.content


@pytest.mark.parametrize(("url", "width_mm", "height_mm"), [
    ("/drillings/1/sheet.pdf", 210, 297), ("/drillings/1/sheet.pdf?paper=letter", 215.9, 279.4), ("/fits/1/card.pdf", 85.6, 54), ("/balls/1/tag.pdf", 62, 29),
])  # fmt: skip
def test_each_sheet_is_one_page_of_its_real_size(client: Client, url: str, width_mm: float, height_mm: float) -> None:
    pages = pypdf.PdfReader(io.BytesIO(client.get(url).content)).pages
    assert len(pages) == 1
    box = pages[0].mediabox
    assert [float(box.width) * 25.4 / 72, float(box.height) * 25.4 / 72] == pytest.approx(
        [width_mm, height_mm], abs=0.1
    )


def test_a_sheet_says_in_words_what_it_says_in_numbers(client: Client) -> None:
    shown = pypdf.PdfReader(io.BytesIO(client.get("/drillings/1/sheet.pdf").content)).pages[0].extract_text()
    for words in (
        "Anna Johnson, right hand",
        "serial QL-1042",
        "one-quarter reverse",
        "Bore to the collar",
        "3 47/64 + 0.001",
    ):
        assert words in " ".join(shown.split())


def plain(html: str) -> str:
    return " ".join(re.sub(r"<[^>]+>", " ", html.replace("&frasl;", "/")).split())


def test_sheet_and_card_tell_walls_and_mark_depths_nobody_gave(client: Client, who: str) -> None:
    sheet = plain(client.get("/drillings/1/sheet").text)
    walls = re.search(
        r"Walls between the holes: thumb to middle ([\d.]+) in; thumb to ring ([\d.]+) in; middle to ring ([\d.]+) in",
        sheet,
    )
    assert walls
    assert float(walls[1]) > 1
    assert "Web" not in sheet
    assert "ASSUMED" not in client.get("/fits/1/card").text  # both finger depths are given
    typed = FIT | {"who": who, "version": "", "hand": "left", "middle_depth": "", "system_id": ""}
    drawn_up = client.post("/bowlers/8/fits", typed).headers["location"]
    card, page = (re.findall(r"[\d/ ]+ deep(?: ASSUMED)?", plain(client.get(drawn_up + u).text)) for u in ("/card", ""))
    assert [row.strip() for row in card] == ["2 3/4 deep ASSUMED", "1 deep ASSUMED", "7/8 deep"]
    assert ["ASSUMED" in row for row in page] == [True, True, False]


def test_a_plan_that_fails_a_check_still_prints_as_a_draft(client: Client, who: str, app: FastAPI) -> None:
    client.post("/settings/least_bridge", {"who": who, "value": "1/2", "source": "our rule"})
    version = not_none(re.search(r'name="version" value="(\d+)"', client.get("/drillings/1").text))[1]
    assert (
        client.post("/drillings/1/plugging", {"who": who, "version": version, "reason": "redrill"}).status_code == 303
    )
    made = client.post(
        "/balls/1/drillings", {"who": who, "version": "", "fit_id": "1", "system_id": "1", "reason": "as before"}
    )
    sheet = client.get(made.headers["location"] + "/sheet").text
    assert "DRAFT" in sheet
    assert "bridge as cut fails (at least 1/2)" in sheet
    assert "Widen the bridge" in client.get(made.headers["location"]).text


def test_a_sheet_carries_a_code_of_its_record(client: Client) -> None:
    page = client.get("/balls/1/tag").text
    assert "<svg" in page
    assert client.get("/drillings/4/sheet").status_code == 400  # drilled elsewhere: no plan to print
