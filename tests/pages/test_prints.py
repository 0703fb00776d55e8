import io
import re

import numpy as np
import pypdf
import pytest
from fastapi import FastAPI
from sqlalchemy.orm import Session, joinedload

from app.models import Bowler, Drilling, Fit, InsertSystem
from app.pages.formats import format_fractions
from seed_demo.world import FIT
from tests.conftest import Client, not_none
from tests.pages.drawn import read_drawn
from tests.pages.test_pages import SHEETS
from tests.services.test_paper_checks import type_one

DRAFT = re.compile(r'<p class="draft">([^<]*)')
SIZES_MM = {"A4": (210.0, 297.0), "letter": (215.9, 279.4), "card": (85.6, 54.0), "tag": (62.0, 29.0)}


@pytest.mark.parametrize(("url", "size"), [
    ("/drillings/1/sheet.pdf", "A4"), ("/drillings/1/sheet.pdf?paper=letter", "letter"), ("/drillings/3/sheet.pdf", "A4"),
    ("/drillings/1/strips.pdf", "A4"), ("/fits/1/passport.pdf", "A4"), ("/fits/1/passport.pdf?paper=letter", "letter"),
    ("/fits/1/card.pdf", "card"), ("/balls/1/tag.pdf", "tag"),
])  # fmt: skip
def test_each_sheet_is_one_page_of_its_real_size_with_no_letter_under_7_pt(client: Client, url: str, size: str) -> None:
    made = client.get(url)
    assert made.status_code == 200
    assert made.headers["content-type"] == "application/pdf"
    pages = pypdf.PdfReader(io.BytesIO(made.content)).pages
    assert len(pages) == 1
    box = pages[0].mediabox
    assert [float(box.width) * 25.4 / 72, float(box.height) * 25.4 / 72] == pytest.approx(SIZES_MM[size], abs=0.1)
    drawn = read_drawn(made.content)
    assert len(drawn.letters) > 10
    assert min(drawn.letters) > 6.99
    edge = min(SIZES_MM[size]) * 0.03
    inked = np.concatenate([path.points for path in drawn.paths])
    assert inked.min() > edge - 0.5
    assert (inked.max(axis=0) < np.array(SIZES_MM[size]) - edge + 0.5).all()


@pytest.mark.parametrize("url", ["/drillings/1/strips", "/fits/1/card"])
def test_a_pdf_is_byte_stable(client: Client, url: str) -> None:
    assert client.get(f"{url}.pdf").content == client.get(f"{url}.pdf").content


@pytest.mark.parametrize("url", [*SHEETS, "/drillings/3/sheet", "/drillings/3/strips", "/fits/2/card"])
def test_no_fraction_breaks_over_a_line(client: Client, url: str) -> None:
    said = re.sub(r"<[^>]*>", "|", client.get(url).text)
    assert re.findall(r"\d +\d+/\d+", said) == []


def test_a_sheet_says_in_words_what_it_says_in_numbers(client: Client) -> None:
    shown = plain(client.get("/drillings/1/sheet").text)
    for words in (
        "Bowler Anna Johnson Hand right",
        "Serial QL-1042",
        "one-quarter reverse",
        "Bore to the collar",
        "sleeve to cut: measure this 3 47/64 + 0.001",
        "3 55/64 within tolerance",  # as built, beside it
    ):
        assert words in shown


def test_a_mark_on_the_sheet_is_told_as_a_tape_shows_it(client: Client) -> None:
    """A 64th with full or shy and the decimals small: nobody marks 39/64 − 0.007. Common practice, no source."""
    shown = plain(client.get("/drillings/1/sheet").text)
    assert re.findall(r"0\.00\d\d? (?:forward|back|left|right|in back)\b", shown.replace("(0.", "")) == []
    told = re.findall(r"(\d+)/(\d+) (full|shy)? ?(?:left|right)\b.*?(0\.\d+) (?:left|right)", shown)
    assert len(told) >= 2
    for top, bottom, word, exactly in told:
        rest = float(exactly) - int(top) / int(bottom)
        assert word == ("" if abs(rest) <= 1 / 512 else "full" if rest > 0 else "shy")


def plain(html: str) -> str:
    """What a page says, built-up fractions as they are typed."""
    html = re.sub(r"<sup>(\d+)</sup>⁄<sub>(\d+)</sub>", r"\1/\2", html)
    return " ".join(re.sub(r"<[^>]+>", " ", html.replace("&frasl;", "/")).split())


def test_a_passport_has_all_that_another_shop_needs_and_nothing_else(client: Client, session: Session) -> None:
    fit = not_none(session.get(Fit, 1))
    fit.hand_notes, fit.clinician_notes, fit.reason = "a callus of his", "rest it", "first of hers"
    not_none(session.get(Bowler, 1)).notes = "plays for the other league"
    not_none(session.get(InsertSystem, 1)).notes = "ask Tadeo"
    session.commit()
    shown = plain(client.get("/fits/1/passport").text)
    for words in (
        "Bowler Anna Johnson Hand right",
        "middle 4 , ring 4 1/8 to the cut edges, before inserts",
        "15/16 + 1/16 at 1:30 (45°)",
        "Outer sleeve, outside 1 1/2",
        "Our bore for it: 2 3/4 + 0.002 collar setting , 95 %: 2.735 to 2.770 , from 2 observations",
        "1 1/2 , 2 3/4 deep collar setting one-quarter reverse",  # the bore that her inner was trimmed in
        "Blue pearl, league, QL-1042",
        "seen from outside the ball",
    ):
        assert words in shown
    for secret in (fit.hand_notes, fit.clinician_notes, fit.reason, "other league", "ask Tadeo", "7788", "Tadeo", "TB"):
        assert secret not in shown


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


def test_a_drill_sheet_says_that_its_fit_was_not_compared_with_its_card(
    client: Client, who: str, session: Session
) -> None:
    _, card, _ = type_one(session, who)
    fit = not_none(not_none(session.get(Drilling, 1, options=[joinedload(Drilling.fit)])).fit)
    card.fit_id, fit.is_off_card = fit.id, True
    session.commit()
    drafts = []
    for state in ("typed", "wrong", "right"):
        card.state = state
        session.commit()
        drafts.append([text for text in DRAFT.findall(client.get("/drillings/1/sheet").text) if "card" in text])
    assert ["found wrong" in text for texts in drafts for text in texts] == [False, True]
    assert [len(texts) for texts in drafts] == [1, 1, 0]


def test_a_sheet_carries_a_code_of_its_record(client: Client) -> None:
    page = client.get("/balls/1/tag").text
    assert "<svg" in page
    assert client.get("/drillings/4/sheet").status_code == 400  # drilled elsewhere: no plan to print


@pytest.mark.parametrize("told", ["2 3/4 + 0.002", "3 7/8 − 0.007", "± 1/64", "1/64 + 0.002"])
def test_a_measure_in_a_sentence_has_no_place_to_break(told: str) -> None:
    assert " " not in format_fractions(told).unescape().replace('<span class="fraction">', "")
