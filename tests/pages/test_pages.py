import io
import re

import pypdf
import pytest
from fastapi import FastAPI
from httpx import Response
from sqlalchemy import func, select
from sqlalchemy.orm import Session, joinedload

from app.models import Bowler, DepthObservation, Inner
from app.pages.environment import templates
from app.pages.pictures import GripPicture, Label
from app.schemas.studies import CELLS
from seed_demo.world import FIT, TWIST_LOCK
from tests.conftest import Client, not_none

SHEETS = ("/drillings/1/sheet", "/fits/1/card", "/balls/1/tag")
PAGES = (
    "/", "/?q=johnson", "/bowlers/new", "/bowlers/1", "/bowlers/1/edit", "/bowlers/1/fits/new", "/bowlers/1/sits", "/bowlers/9/sits", "/fits/1", "/fits/2",
    "/fits/2/edit", "/fits/1/comparison?other=2", "/bowlers/1/balls/new", "/balls/1", "/balls/1/edit",
    "/balls/1/drillings/new", "/drillings/1", "/drillings/2", "/drillings/3", "/drillings/4", "/bowlers/1/inners/new",
    "/drillings/1/bench", "/drillings/3/bench", "/drillings/4/bench", "/drillings/1/comparison?other=2", "/fits/1/transfer",
    "/fits/1/transfer?system_id=&middle_cut=1", "/systems/1/route", *SHEETS,
    "/inners/1", "/inners/2", "/inners/1?pitch=0", "/inners/1?drilling=2", "/inners/1?drilling=2&rim_12=1/32 proud&rim_3=1/32 proud&rim_6=1/32 proud&rim_9=1/32 proud", "/systems", "/systems/new", "/systems/1", "/systems/1/edit",
    "/shops", "/shops/new", "/shops/1", "/shops/2", "/shops/2/edit", "/settings", "/visitors", "/visitors?bowler_id=1",
    "/visitors/set", "/bits", "/studies", "/troubles", "/troubles?drilling_id=1&system_id=1", "/inners/2/loose", "/inners/2/loose?height_12=2.66&height_3=2.62&height_6=2.58&height_9=2.62",
    "/help", "/help/changes", "/help/geometry", "/help/running", "/help/security", "/help/speed", "/help/words",
)  # fmt: skip


def text_of(html: str) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", html))


@pytest.mark.once
@pytest.mark.parametrize("url", PAGES)
def test_every_page_answers(client: Client, url: str) -> None:
    answer = client.get(url)
    assert answer.status_code == 200
    assert answer.text.count("<h1") == 1
    assert "default-src 'self'" in answer.headers["content-security-policy"]
    assert " style=" not in answer.text


@pytest.mark.once
@pytest.mark.parametrize("url", PAGES)
def test_every_id_is_unique_and_every_field_is_described(client: Client, url: str) -> None:
    html = client.get(url).text
    ids = re.findall(r'\bid="([^"]+)"', html)
    assert len(ids) == len(set(ids))
    for names in re.findall(r'aria-describedby="([^"]+)"', html):
        assert set(names.split()) <= set(ids)


@pytest.mark.parametrize(
    "url",
    ["/nope", "/bowlers/999", "/fits/999", "/balls/999", "/drillings/999", "/systems/999", "/shops/999", "/inners/999", "/bowlers/abc", "/bowlers/0",
     "/bowlers/99999999999999999999", "/fits/1/comparison?other=999", "/bowlers/999/fits/new", "/balls/999/drillings/new", "/visitors?bowler_id=999"],
)  # fmt: skip
def test_what_is_not_there_is_404_in_words(client: Client, url: str) -> None:
    answer = client.get(url)
    assert answer.status_code == 404
    assert "There is no such" in answer.text


def test_the_counter_finds_as_one_types(client: Client) -> None:
    fragment = client.get("/?q=jonson", headers={"HX-Request": "true"}).text
    assert "<html" not in fragment
    assert "Anna Johnson" in text_of(fragment)
    shown = text_of(fragment)
    for words in ("right hand", "fit A", "2 balls", "Quarry Lane Pro Shop", "fit B is a draft"):
        assert words in shown


def test_enter_opens_a_clear_match_and_lists_the_rest(client: Client) -> None:
    assert client.get("/bowlers/match?q=anna johnson").headers["location"] == "/bowlers/1"
    assert client.get("/bowlers/match?q=7788").headers["location"] == "/bowlers/1"
    assert client.get("/bowlers/match?q=bertil johnson").headers["location"] == "/?q=bertil+johnson"
    assert client.get("/bowlers/match?q=zzz").headers["location"] == "/?q=zzz"


def new_bowler(who: str, **typed: str) -> dict[str, str]:
    return {
        "who": who,
        "name": "Lars Quint",
        "phone": "555 0100 4477",
        "hand": "right",
        "home_shop_id": "1",
        "notes": "",
    } | typed


def test_a_new_bowler_is_saved_and_the_record_shown(client: Client, who: str) -> None:
    answer = client.post("/bowlers", new_bowler(who))
    assert answer.status_code == 303
    page = text_of(client.get(answer.headers["location"]).text)
    assert "Lars Quint" in page
    assert "TB made bowler" in page


def test_a_bad_form_comes_back_with_its_text_and_its_errors(client: Client, who: str) -> None:
    answer = client.post("/bowlers", new_bowler(who, name="", phone="12", notes="left <wrist> brace"))
    assert answer.status_code == 422
    assert 'value="12"' in answer.text
    assert "left &lt;wrist&gt; brace" in answer.text
    assert 'id="name-error"' in answer.text
    assert 'id="phone-error"' in answer.text
    assert re.search(
        r'id="name"[^>]*aria-invalid="true"[^>]*aria-describedby="name-help name-error"', answer.text, re.S
    )


def test_a_likely_duplicate_is_shown_and_can_be_said_to_be_somebody_else(
    client: Client, who: str, session: Session
) -> None:
    typed = new_bowler(who, name="Ana Johnson")
    answer = client.post("/bowlers", typed)
    assert answer.status_code == 409
    assert 'value="Ana Johnson"' in answer.text
    assert "/bowlers/1" in answer.text
    assert client.post("/bowlers", typed | {"is_somebody_else": "true"}).status_code == 303


def test_nobody_saves_with_made_up_initials(client: Client) -> None:
    answer = client.post("/bowlers", new_bowler("999"))
    assert answer.status_code == 422
    assert "Tap your initials." in answer.text


def test_two_people_saving_the_same_record(client: Client, who: str, session: Session) -> None:
    seen = not_none(re.search(r'name="version" value="(\d+)"', client.get("/bowlers/1/edit").text))[1]
    first = new_bowler(who, name="Anna Johnson", notes="first", version=seen)
    assert client.post("/bowlers/1", first).status_code == 303
    late = client.post("/bowlers/1", first | {"notes": "second"})
    assert late.status_code == 409
    assert "Tadeo Birk changed" in late.text
    assert ">second</textarea>" in late.text
    fresh = not_none(re.search(r'name="version" value="(\d+)"', late.text))[1]
    assert client.post("/bowlers/1", first | {"notes": "second", "version": fresh}).status_code == 303


@pytest.mark.parametrize(
    "headers",
    [{"origin": "http://evil.test"}, {"sec-fetch-site": "cross-site"}, {"origin": "http://shop.test", "sec-fetch-site": "same-site"}, {"origin": "null"}, {"origin": ""}],
)  # fmt: skip
def test_a_form_from_another_site_is_refused(
    client: Client, who: str, headers: dict[str, str], session: Session
) -> None:
    assert client.post("/bowlers", new_bowler(who), headers=headers).status_code == 403
    assert session.scalar(select(Bowler).where(Bowler.name == "Lars Quint")) is None


def test_a_browser_that_says_same_origin_is_believed(client: Client, who: str) -> None:
    headers = {"sec-fetch-site": "same-origin", "origin": ""}
    assert client.post("/bowlers", new_bowler(who), headers=headers).status_code == 303


def test_another_content_type_saves_nothing(client: Client) -> None:
    answer = client.post("/bowlers", content="name=x", headers={"content-type": "text/plain"})
    assert answer.status_code == 422


def test_a_failed_commit_is_not_answered_as_saved(
    client: Client, who: str, app: FastAPI, monkeypatch: pytest.MonkeyPatch
) -> None:
    from sqlalchemy.exc import OperationalError
    from sqlalchemy.orm import Session

    def broken(self: Session) -> None:
        raise OperationalError("COMMIT", {}, Exception("disk full"))

    monkeypatch.setattr(Session, "commit", broken)
    answer = client.post("/bowlers", new_bowler(who))
    assert answer.status_code == 503
    assert "nothing was saved" in answer.text


def test_a_field_is_read_back_in_words_with_a_drawing(client: Client) -> None:
    url = "/read-back/pitch?of=thumb_pitch&thumb_pitch=3/8 reverse, 1/8 right&hand=right&hole=thumb"
    fragment = client.get(url, headers={"HX-Request": "true"}).text
    assert "one-eighth to the right, towards the palm" in fragment
    assert "<svg" in fragment
    asked = client.get("/read-back/pitch?of=thumb_pitch&thumb_pitch=1/4R&hand=right&hole=thumb").text
    assert "R alone can be reverse or right" in asked
    assert 'data-fill="thumb_pitch"' in asked
    assert client.get("/read-back/nonsense?of=a").status_code == 422


def test_a_fit_is_sketched_while_it_is_typed(client: Client) -> None:
    form = re.findall(r'name="(\w+)"[^>]*value="([^"]*)"', client.get("/fits/2/edit").text)
    values = dict(form) | {
        "span_edges": "cut",
        "bridge_edges": "cut",
        "style": "fingertip",
        "hand": "right",
        "system_id": "1",
    }
    shown = client.get("/fits/sketch", params=values, headers={"HX-Request": "true"})
    assert shown.status_code == 200
    assert 'class="grip"' in shown.text
    broken = client.get("/fits/sketch", params=values | {"bridge": "43/8"}, headers={"HX-Request": "true"}).text
    assert "Not yet worked out" in broken
    assert client.get("/fits/sketch").status_code == 200


def test_a_bad_fit_keeps_its_text_at_the_field(client: Client, who: str) -> None:
    typed = {
        "who": who,
        "hand": "left",
        "style": "fingertip",
        "reason": "first fit",
        "spans": "43/8 x 4",
        "span_edges": "",
        "bridge": "1/4",
        "bridge_edges": "cut",
    }
    answer = client.post("/bowlers/8/fits", typed)
    assert answer.status_code == 422
    assert 'value="43/8 x 4"' in answer.text
    assert "43/8 can be read in more than one way" in answer.text
    assert 'id="span_edges-error"' in answer.text


def finish(client: Client, who: str, drilling: int, **typed: str) -> Response:
    version = not_none(re.search(r'name="version" value="(\d+)"', client.get(f"/drillings/{drilling}").text))[1]
    return client.post(f"/drillings/{drilling}/measurements", {"who": who, "version": version} | typed)


def test_finishing_answers_at_once_and_keeps_bad_text(client: Client, who: str) -> None:
    version = not_none(re.search(r'name="version" value="(\d+)"', client.get("/drillings/3").text))[1]
    assert client.post("/drillings/3/drilled", {"who": who, "version": version, "datum": "unknown"}).status_code == 303
    shown = text_of(client.get("/drillings/3/finish?middle=4 3/8&ring=4 21/64", headers={"HX-Request": "true"}).text)
    assert "within tolerance" in shown
    assert "+1/64 long" in shown
    assert "measure again" in shown
    assert "ASSUMED" in shown
    bad = finish(client, who, 3, middle="4 3/0", ring="94.9")
    assert bad.status_code == 422
    assert 'value="4 3/0"' in bad.text
    assert "cannot have 0 below the line" in bad.text
    assert "inches or mm" in bad.text
    assert finish(client, who, 3, middle="4 3/8", ring="4 1/4").status_code == 303
    version = not_none(re.search(r'name="version" value="(\d+)"', client.get("/drillings/3").text))[1]
    refused = client.post("/drillings/3/closing", {"who": who, "version": version})
    assert refused.status_code == 422
    assert "out of tolerance" in refused.text
    reason = {"who": who, "version": version, "reason": "tried it, wants it"}
    assert client.post("/drillings/3/closing", reason).status_code == 303
    assert "tried it, wants it" in client.get("/bowlers/2").text


def test_a_second_closing_of_the_same_page_is_a_conflict(client: Client, who: str) -> None:
    answer = client.post("/drillings/1/closing", {"who": who, "version": "1", "reason": "again"})
    assert answer.status_code == 409


def test_a_limit_is_assumed_until_the_shop_sets_it(client: Client, who: str) -> None:
    assert "ASSUMED" in client.get("/settings").text
    bad = client.post("/settings/tolerance", {"who": who, "value": "3 47/0", "source": "our study"})
    assert bad.status_code == 422
    assert 'value="3 47/0"' in bad.text
    assert client.post("/settings/tolerance", {"who": who, "value": "1/32", "source": "our study"}).status_code == 303
    page = client.get("/settings").text
    assert "our study" in page
    assert client.post("/settings/nonsense", {"who": who, "value": "1/32", "source": "x"}).status_code == 404


@pytest.mark.parametrize("query", ["pitch=1/4R", "circumference=28", "pitch=%3Cscript%3E"])
def test_a_bad_question_about_a_sit_is_shown_at_its_field(client: Client, query: str) -> None:
    answer = client.get(f"/inners/1?{query}")
    assert answer.status_code == 422
    assert "-error" in answer.text
    assert "<script>" not in answer.text


def test_a_datum_is_never_a_silent_default(client: Client) -> None:
    assert re.search(r'<option value="unknown" selected>', client.get("/visitors").text)
    assert "— say which —" in client.get("/shops/2").text
    assert not re.search(
        r'id="span_edges".*?selected', client.get("/bowlers/8/fits/new").text.split('id="bridge"')[0], re.S
    )


def test_visitor_intake_offers_what_is_known_of_the_shop(client: Client) -> None:
    fragment = client.get("/visitors/known-depth?shop_id=2&system_id=1", headers={"HX-Request": "true"}).text
    assert "This shop is known" in fragment
    assert "200 days ago" in text_of(fragment)
    assert "told by the shop" in fragment
    unknown = client.get("/visitors/known-depth?shop_id=3&system_id=1", headers={"HX-Request": "true"}).text
    assert "trial fit" in unknown


def test_a_visitor_of_an_unknown_shop_is_sent_to_the_trial_fit(client: Client, who: str) -> None:
    intake = {
        "who": who, "version": "", "bowler_name": "Orla Fenn", "hand": "right", "shop_id": "", "shop_name": "Bridge End", "system_id": "1",
        "outside": "1 1/4", "bore_pitch": "1/4 reverse, 0", "depth": "unknown", "datum": "unknown",
    }  # fmt: skip
    answer = client.post("/visitors", intake)
    assert answer.status_code == 303
    page = client.get(answer.headers["location"])
    assert "How deep Bridge End bores is not known. Make a trial fit." in page.text
    trial = f"{answer.headers['location']}/trial-fits"
    bad = client.post(trial, {"who": who, "trial_depth": "2 3/4", "proud": "1/32"})
    assert bad.status_code == 422
    assert "Proud or sunk?" in bad.text
    assert client.post(trial, {"who": who, "trial_depth": "2 3/4", "proud": "1/32 sunk"}).status_code == 303
    assert client.post(f"{answer.headers['location']}/depth", {"who": who, "notes": ""}).status_code == 303
    assert client.post(f"{answer.headers['location']}/depth", {"who": who, "notes": ""}).status_code == 409


def test_a_version_that_is_no_number_is_told_for_the_form(client: Client, who: str) -> None:
    answer = client.post("/bowlers/1", new_bowler(who, version="x"))
    assert answer.status_code == 422
    assert "Load this page again" in answer.text


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
    made = client.post("/balls/1/drillings", {"who": who, "version": "", "fit_id": "1", "system_id": "1"})
    sheet = client.get(made.headers["location"] + "/sheet").text
    assert "DRAFT" in sheet
    assert "bridge as cut fails (at least 1/2)" in sheet
    assert "Widen the bridge" in client.get(made.headers["location"]).text


def test_a_sheet_carries_a_code_of_its_record(client: Client) -> None:
    page = client.get("/balls/1/tag").text
    assert "<svg" in page
    assert client.get("/drillings/4/sheet").status_code == 400  # drilled elsewhere: no plan to print


def ticked(client: Client, who: str, position: int, **typed: str) -> Response:
    return client.post(f"/drillings/3/steps/{position}/tick", {"who": who, "version": ""} | typed)


def test_the_bench_shows_one_step_pauses_and_takes_each_tick_once(client: Client, who: str) -> None:
    assert "Mark grip centre" in client.get("/drillings/3/bench").text
    for position in (1, 2, 3):
        assert ticked(client, who, position).headers["location"] == "/drillings/3/bench"
    paused = client.get("/drillings/3/bench").text
    assert "Read this back before the first cut" in paused
    for words in ("Piet Olander", "left hand", "serial QL-1101", "one-eighth reverse"):
        assert words in paused
    assert ticked(client, who, 4).status_code == 409
    assert client.post("/drillings/3/confirmation", {"who": who, "version": ""}).status_code == 303
    assert ticked(client, who, 4, depth="2 3/4", bit="1 1/16").status_code == 303
    again = ticked(client, "1", 4)
    assert again.headers["location"] == "/drillings/3/bench?ticked=4"
    assert "Nothing was ticked twice" in client.get(again.headers["location"]).text
    bad = ticked(client, who, 99)
    assert bad.status_code == 404


def test_a_bad_depth_at_the_bench_keeps_its_text(client: Client, who: str) -> None:
    for position in (1, 2, 3):
        ticked(client, who, position)
    client.post("/drillings/3/confirmation", {"who": who, "version": ""})
    bad = ticked(client, who, 4, depth="2 3/0", bit="old one")
    assert bad.status_code == 422
    assert 'value="2 3/0"' in bad.text
    assert "cannot have 0 below the line" in bad.text


def test_the_later_bench_sees_the_earlier_ones_ticks(client: Client, who: str) -> None:
    assert "ticked on meanwhile" not in client.get("/drillings/3/bench?seen=1", headers={"HX-Request": "true"}).text
    ticked(client, who, 1)
    shown = client.get("/drillings/3/bench?seen=1", headers={"HX-Request": "true"}).text
    assert "Tadeo Birk ticked on meanwhile" in shown


def test_the_rim_of_an_inner_is_drawn_in_any_other_ball(client: Client) -> None:
    page = client.get("/inners/1?drilling=2").text
    assert "In Spare ball, plain" in page
    assert 'class="rim"' in page
    assert client.get("/inners/1?drilling=4").status_code == 422  # another bowler's ball
    assert client.get("/inners/1?drilling=999").status_code == 404
    assert client.get("/inners/1?drilling=99999999999999999999").status_code == 404


def test_a_loose_inner_tells_its_shops_depth_and_pitch(client: Client, who: str) -> None:
    query = "height_12=2.66&height_3=2.62&height_6=2.58&height_9=2.62"
    page = text_of(client.get(f"/inners/2/loose?{query}").text)
    assert "Depth of that bore" in page
    assert "reverse" in page
    odd = client.get("/inners/2/loose?height_12=2.66&height_3=2.62&height_6=2 5/0&height_9=2.62").text
    assert "cannot have 0 below the line" in odd


def test_heights_that_misfit_are_read_again_and_save_nothing(client: Client, session: Session, who: str) -> None:
    before = session.scalar(select(func.count()).select_from(DepthObservation))
    pitch = not_none(session.get(Inner, 2, options=[joinedload(Inner.trimmed_in)])).trimmed_in.forward_in
    session.rollback()
    bent = {"height_12": "2.686", "height_3": "2.62", "height_6": "2.606", "height_9": "2.62"}
    page = client.get("/inners/2/loose?" + "&".join(f"{k}={v}" for k, v in bent.items())).text
    assert "Read all four again" in page
    assert "Save as the depth" not in page
    refused = client.post("/inners/2/loose", {"who": who, "version": ""} | bent)
    assert refused.status_code == 422
    assert 'value="2.686"' in refused.text
    assert session.scalar(select(func.count()).select_from(DepthObservation)) == before
    assert not_none(session.get(Inner, 2, options=[joinedload(Inner.trimmed_in)])).trimmed_in.forward_in == pitch


def test_heights_in_64ths_carry_that_division_in_their_doubt(client: Client, session: Session, who: str) -> None:
    ruled = {"height_12": "2 43/64", "height_3": "2 5/8", "height_6": "2 37/64", "height_9": "2 5/8"}
    assert client.post("/inners/2/loose", {"who": who, "version": ""} | ruled).status_code == 303
    kept = not_none(session.scalars(select(DepthObservation).order_by(DepthObservation.id.desc())).first())
    least = 1 / 64 / 12**0.5 / 2  # JCGM 100:2008 4.3.7, and the mean of four
    assert least <= float(kept.repeatability_in) <= 3 * least


def test_a_system_in_use_stays_and_says_where(client: Client, who: str) -> None:
    version = not_none(re.search(r'name="version" value="(\d+)"', client.get("/systems/1").text))[1]
    refused = client.post("/systems/1/removal", {"who": who, "version": version})
    assert refused.status_code == 409
    assert "is used in" in refused.text
    assert "inners" in refused.text


def test_a_study_with_a_bad_reading_keeps_its_text(client: Client, who: str) -> None:
    typed = {c: f"3.7{i:02d}" for i, c in enumerate(CELLS)} | {"p0t0k0": "94.9"}
    bad = client.post(
        "/studies", {"who": who, "version": "", "instrument": "span gauge", "measures": "sleeve_to_cut"} | typed
    )
    assert bad.status_code == 422
    assert 'value="94.9"' in bad.text
    assert "inches or mm" in bad.text


def test_one_observation_is_not_entered_twice(client: Client, who: str) -> None:
    typed = {
        "who": who,
        "version": "",
        "system_id": "1",
        "depth": "2 3/4",
        "datum": "collar",
        "obtained": "told",
        "observed_on": "2026-01-02",
    }
    assert client.post("/shops/2/depths", typed).status_code == 303
    again = client.post("/shops/2/depths", typed)
    assert again.status_code == 422
    assert "is there already" in again.text
    assert client.post("/shops/2/depths", typed | {"notes": "read again"}).status_code == 303


def set_row(who: str, **typed: str) -> dict[str, str]:
    row = {
        "who": who, "version": "", "row_id": "", "bowler_name": "Orla Fenn", "hand": "right", "shop_id": "2", "system_id": "1", "outside": "1 1/4",
        "bore_pitch": "1/4 reverse, 0", "datum": "collar", "obtained": "told", "ball_label": "Green",
    }  # fmt: skip
    return row | typed


def test_a_row_of_a_set_carries_shop_and_hardware_down(client: Client, who: str) -> None:
    answer = client.post("/visitors/set", set_row(who))
    assert answer.status_code == 303
    page = client.get(answer.headers["location"]).text
    assert re.search(r'<option value="2" selected>', page)
    assert 'value="1/4 reverse, 0"' in page
    assert "Orla Fenn" in page  # among what was taken in
    second = client.post("/visitors/set", set_row(who, ball_label="Second ball"))
    assert second.status_code == 303  # the same bowler again, not a likely duplicate
    found = client.get("/?q=fenn", headers={"HX-Request": "true"}).text
    assert "2 balls" in text_of(found)


def test_a_row_that_cannot_be_taken_in_is_kept_and_finished_later(client: Client, who: str) -> None:
    bad = client.post("/visitors/set", set_row(who, outside="1 5/8"))
    assert bad.status_code == 422
    assert "wider than the sleeve" in bad.text
    assert "Unfinished, 1" in bad.text
    row = not_none(re.search(r"/visitors/set\?row=(\d+)", client.get("/visitors/set").text))[1]
    again = client.get(f"/visitors/set?row={row}").text
    assert 'value="1 5/8"' in again
    still = client.post("/visitors/set", set_row(who, outside="43/8", row_id=row))
    assert "Unfinished, 1" in still.text  # the same row, not a second one
    assert client.post("/visitors/set", set_row(who, row_id=row)).status_code == 303
    assert "Unfinished" not in client.get("/visitors/set").text


def test_two_of_one_name_ask_for_the_phone(client: Client, who: str) -> None:
    typed = set_row(who, bowler_name="Anna Johnson", ball_label="Other")
    client.post(
        "/bowlers", {"who": who, "version": "", "name": "Anna Johnson", "hand": "right", "is_somebody_else": "true"}
    )
    asked = client.post("/visitors/set", typed)
    assert asked.status_code == 422
    assert "write the last digits of the phone" in asked.text
    assert client.post("/visitors/set", typed | {"bowler_phone": "7788"}).status_code == 303


def test_the_service_log_brings_ball_and_depth_along_and_counts(client: Client, who: str) -> None:
    for what in ("stuck", "stuck", "tabs"):
        typed = {"who": who, "version": "", "system_id": "1", "drilling_id": "1", "what": what, "note": ""}
        assert client.post("/troubles", typed).status_code == 303
    shown = text_of(client.get("/troubles").text)
    assert "Twist lock, floor seated: inner stuck: 2" in shown
    assert "Blue pearl, league" in shown
    assert "Proved by:" in shown
    bad = client.post("/troubles", {"who": who, "version": "", "system_id": "1", "drilling_id": "999", "what": "stuck"})
    assert bad.status_code == 422


def test_four_rim_readings_are_diagnosed_or_asked_about(client: Client) -> None:
    query = "drilling=2&rim_12=1/32 proud&rim_3=1/32 proud&rim_6=1/32 proud&rim_9=1/32 proud"
    shown = text_of(client.get(f"/inners/1?{query}").text)
    assert "What does that point to? Depth" in shown
    assert "+2/64 proud all round" in shown
    asked = client.get("/inners/1?drilling=2&rim_12=1/32&rim_3=flush&rim_6=flush&rim_9=flush")
    assert asked.status_code == 422
    assert "Proud or sunk?" in asked.text


TINY_PNG = bytes.fromhex(
    "89504e470d0a1a0a0000000d4948445200000001000000010806000000"
    "1f15c4890000000d49444154789c6360606060000000050001a5f645400000000049454e44ae426082"  # pragma: allowlist secret
)


def with_photo(client: Client, who: str, data: bytes, **typed: str) -> Response:
    return client.post("/visitors/set", set_row(who, **typed), files={"photo": ("ball.png", data, "image/png")})


def test_a_photo_comes_along_with_a_row_of_a_set(client: Client, who: str) -> None:
    assert with_photo(client, who, TINY_PNG).status_code == 303
    ball = not_none(
        re.search(r"/balls/(\d+)\">Green", client.get("/bowlers/match?q=fenn", follow_redirects=True).text)
    )[1]
    photo = not_none(re.search(r"/photos/(\d+)", client.get(f"/balls/{ball}").text))[1]
    shown = client.get(f"/photos/{photo}")
    assert shown.content == TINY_PNG
    assert shown.headers["content-type"] == "image/png"
    assert client.get("/photos/999").status_code == 404


@pytest.mark.parametrize(("data", "typed", "words"), [
    (b"<script>alert(1)</script>", {}, "JPEG or PNG"), (TINY_PNG + b"x" * (7 * 1024 * 1024), {}, "at most 6 MB"), (TINY_PNG, {"ball_label": ""}, "Name the ball"),
])  # fmt: skip
def test_what_is_no_photo_is_refused_at_its_field_and_the_row_kept(
    client: Client, who: str, data: bytes, typed: dict[str, str], words: str
) -> None:
    refused = with_photo(client, who, data, **typed)
    assert refused.status_code == 422
    assert words in refused.text
    assert "Unfinished, 1" in refused.text
    assert "Choose it again" in refused.text


def test_a_row_sent_twice_is_one_ball_and_another_like_it_wants_its_serial(client: Client, who: str) -> None:
    assert client.post("/visitors/set", set_row(who)).status_code == 303
    again = client.post("/visitors/set", set_row(who))
    assert again.status_code == 422
    assert "has this ball here" in again.text
    assert client.post("/visitors/set", set_row(who, ball_serial="QL-77")).status_code == 303


def test_hardware_whose_sleeve_is_not_known_has_its_preview_its_card_its_bench_and_its_sheet(
    client: Client, who: str
) -> None:
    system = TWIST_LOCK | {"who": who, "label": "Sleeve not measured", "sleeve_od": "unknown"}
    made = client.post("/systems", system)
    assert made.status_code == 303, made.text
    system_id = not_none(re.search(r"/systems/(\d+)", made.headers["location"]))[1]
    version = not_none(re.search(r'name="version" value="(\d+)"', client.get("/drillings/1").text))[1]
    client.post("/drillings/1/plugging", {"who": who, "version": version, "reason": "redrill"})
    choices = {"fit_id": "1", "system_id": system_id, "bore_runs": "like_thumb", "point": "118"}
    assert client.get("/balls/1/drillings/new", params=choices).status_code == 200
    planned = client.post("/balls/1/drillings", choices | {"who": who, "version": ""}).headers["location"]
    for page in ("", "/bench", "/sheet", "/sheet.pdf"):
        assert client.get(planned + page).status_code == 200, page


def test_a_span_off_the_64ths_fits_the_paper_pictures_width() -> None:
    label = Label(0.5, 0.0, "4 27/64 − 0.001", "start")
    page = templates.from_string("{% import 'macros/printed.html' as printed %}{{ printed.grip(picture) }}")
    drawn = page.render(picture=GripPicture(4.3, (), (label,), ""))
    assert "4 27/64<tspan" in drawn and ">− 0.001</tspan>" in drawn
