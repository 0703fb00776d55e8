"""Forms that take something back: refused at the field, with all that was typed kept."""

import re

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.models import Bowler, Drilling, Fit, now
from tests.conftest import Client, not_none
from tests.pages.test_history import MERGER, sent

pytestmark = pytest.mark.once


def test_a_transfer_to_an_erased_bowler_asks_at_the_field_and_keeps_the_reason(
    client: Client, session: Session, who: str
) -> None:
    session.get_one(Bowler, 2).erased_at = now()
    session.commit()
    refused = sent(client, who, "/balls/1/owner", {"to_id": "2", "why": "sold & paid in May"})
    assert refused.status_code == 422
    assert 'id="to_id-error"' in refused.text
    assert 'name="why" type="text" value="sold &amp; paid in May"' in refused.text
    again = client.get("/balls/1/owner?q=bertil&why=sold %26 paid in May").text
    link = not_none(re.search(r'href="(/balls/1/owner\?to=4&amp;why=[^"]*)"', again))[1]
    assert 'value="sold &amp; paid in May"' in client.get(link.replace("&amp;", "&")).text


def test_a_merger_keeps_every_answer_and_asks_only_what_is_open(client: Client, who: str) -> None:
    typed = {name: text for name, text in MERGER.items() if name != "which_hand"}
    refused = sent(client, who, "/bowlers/1/merger", typed | {"stays": "", "why": "one & the same"})
    assert refused.status_code == 422
    assert re.findall(r'id="(\w+)-error"', refused.text) == ["stays"]  # both bowl with one hand: nothing to ask
    assert 'value="one &amp; the same"' in refused.text
    assert re.search(r'name="which_name" value="1"\s+checked', refused.text)


def test_two_at_one_merger_the_second_is_told(client: Client, who: str) -> None:
    page = client.get("/bowlers/1/merger?other=4").text
    version = not_none(re.search(r'name="version" value="(\d+)"', page))[1]
    form = MERGER | {"who": who, "version": version}
    assert client.post("/bowlers/1/merger", form).status_code == 303
    assert client.post("/bowlers/1/merger", form).status_code in {409, 422}
    assert client.get("/bowlers/4").headers["location"] == "/bowlers/1"
    assert client.get("/bowlers/4/edit").status_code == 200


def test_a_refused_removal_leaves_the_other_form_of_the_page_as_saved(client: Client, who: str) -> None:
    refused = sent(client, who, "/bowlers/1/removal", {"why": "typo"})
    assert refused.status_code == 409
    assert "2 fits, 2 balls, 1 inner" in refused.text
    assert 'value="Anna Johnson"' in refused.text
    assert 'value="typo"' in refused.text


def test_a_sold_ball_is_not_said_to_be_drilled_for_the_hand_of_its_new_owner(
    client: Client, session: Session, who: str
) -> None:
    drilling = session.scalars(select(Drilling).where(Drilling.ball_id == 1)).first()
    assert drilling
    fit = session.get_one(Fit, not_none(drilling.fit_id))
    fit.hand_notes = "thumb goes numb"
    session.commit()
    pages = [f"/drillings/{drilling.id}", f"/drillings/{drilling.id}/sheet"]
    assert all("thumb goes numb" in client.get(url).text for url in pages)
    assert sent(client, who, "/balls/1/owner", {"to_id": "2", "why": "sold"}).status_code == 303
    for url in (*pages, "/balls/1/tag"):
        told = client.get(url).text
        assert ("thumb goes numb" in told, "of the former owner" in told) == (False, True), url
