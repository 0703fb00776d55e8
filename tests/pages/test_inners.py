import pytest
from sqlalchemy import func, select
from sqlalchemy.orm import Session, joinedload

from app.models import DepthObservation, Inner
from tests.conftest import Client, not_none
from tests.pages.test_pages import text_of


@pytest.mark.parametrize("query", ["pitch=1/4R", "circumference=28", "pitch=%3Cscript%3E"])
def test_a_bad_question_about_a_sit_is_shown_at_its_field(client: Client, query: str) -> None:
    answer = client.get(f"/inners/1?{query}")
    assert answer.status_code == 422
    assert "-error" in answer.text
    assert "<script>" not in answer.text


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


def test_four_rim_readings_are_diagnosed_or_asked_about(client: Client) -> None:
    query = "drilling=2&rim_12=1/32 proud&rim_3=1/32 proud&rim_6=1/32 proud&rim_9=1/32 proud"
    shown = text_of(client.get(f"/inners/1?{query}").text)
    assert "What does that point to? Depth" in shown
    assert "+2/64 proud all round" in shown
    asked = client.get("/inners/1?drilling=2&rim_12=1/32&rim_3=flush&rim_6=flush&rim_9=flush")
    assert asked.status_code == 422
    assert "Proud or sunk?" in asked.text
