import re
from fractions import Fraction

from httpx import Response
from sqlalchemy.orm import Session

from app.models import Drilling
from seed_demo.world import TWIST_LOCK
from tests.conftest import Client, not_none
from tests.pages.test_pages import text_of


def finish(client: Client, who: str, drilling: int, **typed: str) -> Response:
    version = not_none(re.search(r'name="version" value="(\d+)"', client.get(f"/drillings/{drilling}").text))[1]
    return client.post(f"/drillings/{drilling}/measurements", {"who": who, "version": version} | typed)


def test_finishing_answers_at_once_and_keeps_bad_text(client: Client, who: str) -> None:
    version = not_none(re.search(r'name="version" value="(\d+)"', client.get("/drillings/3").text))[1]
    assert client.post("/drillings/3/drilled", {"who": who, "version": version, "datum": "unknown"}).status_code == 303
    shown = text_of(client.get("/drillings/3/finish?middle=4 13/32&ring=4 21/64", headers={"HX-Request": "true"}).text)
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


def test_pages_say_which_doubt_a_verdict_was_made_with_or_that_it_was_not_kept(
    client: Client, session: Session
) -> None:
    of = not_none(session.get(Drilling, 1))
    of.doubt_in, of.doubt_freedom, of.doubt_source = Fraction("0.0031"), 7.25, "gauge study of a caliper"
    session.commit()
    shown = text_of(client.get("/drillings/1").text)
    assert "0.0031 in for one reading, 7.2 degrees of freedom, gauge study of a caliper" in shown
    of.doubt_in, of.doubt_freedom, of.doubt_source = None, None, ""
    session.commit()
    for page in ("/drillings/1", f"/balls/{of.ball_id}", "/bowlers/1"):
        answer = client.get(page).text
        assert "its doubt was not kept" in answer, page
        assert not re.search(r"verdict good.{0,60}within tolerance", answer, re.DOTALL), page


def test_a_second_closing_of_the_same_page_is_a_conflict(client: Client, who: str) -> None:
    answer = client.post("/drillings/1/closing", {"who": who, "version": "1", "reason": "again"})
    assert answer.status_code == 409


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
    planned = client.post(
        "/balls/1/drillings", choices | {"who": who, "version": "", "reason": "over the plugs"}
    ).headers["location"]
    for page in ("", "/bench", "/sheet", "/sheet.pdf"):
        assert client.get(planned + page).status_code == 200, page


def test_a_refused_plugging_keeps_what_was_typed(client: Client, who: str) -> None:
    typed = {
        "who": who,
        "version": "",
        "reason": "redrill",
        "filling": "two-part resin",
        "filled_on": "2999-01-01",
        "open_ring": "true",
    }
    typed["version"] = not_none(re.search(r'name="version" value="(\d+)"', client.get("/drillings/1").text))[1]
    answer = client.post("/drillings/1/plugging", typed)
    assert answer.status_code == 422
    assert 'id="plug-filled_on-error"' in answer.text
    assert 'value="two-part resin"' in answer.text
    assert 'name="open_ring" value="true" checked' in answer.text
    assert client.post("/drillings/1/plugging", typed | {"filled_on": ""}).status_code == 303
    ball = client.get("/balls/1").text
    assert ball.count('class="plug"') == 2
    assert ball.count('class="old"') == 1
    moved = "mark_along=1/2&mark_along_way=fingers&mark_turn=1:00"
    planned = client.get(f"/balls/1/drillings/new?fit_id=1&system_id=1&{moved}").text
    assert "from the mark on the ball" in planned
    assert "old middle hole" in planned


def test_readings_typed_on_an_open_page_are_compared_though_the_drilling_is_closed_meanwhile(client: Client) -> None:
    typed = {"middle": "3 47/64", "ring": "3 7/8"}
    answer = client.get("/drillings/1/finish", params=typed, headers={"HX-Request": "true"})
    assert answer.status_code == 200
    assert answer.text.count("<tr>") == 3  # the head, middle and ring
