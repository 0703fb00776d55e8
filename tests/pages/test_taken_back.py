"""Forms that take something back: refused at the field, with all that was typed kept."""

import re

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.models import Bowler, Drilling, Fit, now
from seed_demo.world import FIT
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


@pytest.mark.parametrize("url", ["/drillings/1", "/drillings/1/bench", "/drillings/1/sheet", "/balls/1/tag"])
def test_a_sold_ball_never_shows_its_former_owners_fit_and_hand_as_the_new_ones(
    client: Client, session: Session, who: str, url: str
) -> None:
    fit = session.get_one(Fit, 1)
    fit.hand_notes, fit.clinician_notes = "callus on the thumb", "rest until June"
    session.commit()
    before = client.get(url).text
    assert ("callus on the thumb" in before) == ("rest until June" in before) == (url != "/balls/1/tag")
    assert sent(client, who, "/balls/1/owner", {"to_id": "8", "why": "sold"}).status_code == 303
    after = " ".join(client.get(url).text.split())
    assert "Mei Tanaka-Ruiz" in after
    assert "callus on the thumb" not in after
    assert "rest until June" not in after
    assert "of the former owner" in after or url.endswith("/bench")


def test_what_was_typed_into_a_form_that_is_gone_is_shown(client: Client, who: str) -> None:
    version = not_none(re.search(r'name="version" value="(\d+)"', client.get("/fits/2").text))[1]
    typed = {"who": who, "version": version, "why": "typed & kept", "pin": "2580"}
    assert client.post("/fits/2/discarding", typed | {"why": "twice"}).status_code == 303
    client.post("/fits/2/discarding-removal", {"who": who, "version": str(int(version) + 1), "why": "back"})
    client.post("/fits/2/in-force", {"who": who, "version": str(int(version) + 2)})
    late = client.post("/fits/2/discarding", typed)
    assert late.status_code == 409
    assert "<dd>typed &amp; kept</dd>" in late.text
    assert "2580" not in late.text


def test_a_plug_cannot_be_drilled_before_it_was_filled(client: Client, who: str) -> None:
    typed = {"hole": "thumb", "state": "filled", "along": "0", "across": "0", "size": "1", "pitch": "0", "depth": "1"}
    typed |= {"filled_on": "2026-03-02", "drill_from": "2026-03-01"}
    refused = sent(client, who, "/balls/1/old-holes", typed)
    assert refused.status_code == 422
    assert 'id="drill_from-error"' in refused.text
    assert sent(client, who, "/balls/1/old-holes", typed | {"drill_from": "2026-03-02"}).status_code == 303
    plugging = {"reason": "again", "filling": "resin", "drill_from": "2026-03-01"}  # filled today
    assert sent(client, who, "/drillings/1/plugging", plugging).status_code == 422


def test_what_was_removed_or_discarded_can_still_be_reached(client: Client, who: str) -> None:
    ball = sent(client, who, "/bowlers/8/balls", {"label": "Wrong ball", "circumference": "27"}).headers["location"]
    hole = {"hole": "thumb", "state": "open", "along": "0", "across": "0", "size": "1", "pitch": "0", "depth": "1"}
    assert sent(client, who, f"{ball}/removal", {"why": "typed twice"}).status_code == 303
    late = sent(client, who, f"{ball}/old-holes", hole)
    assert late.status_code == 409
    assert "Put it back first" in late.text
    assert "old-holes/new" not in client.get(ball).text
    assert f'href="{ball}"' in client.get("/bowlers/8").text

    fit = sent(client, who, "/bowlers/8/fits", FIT | {"hand": "left"}).headers["location"]
    assert sent(client, who, f"{fit}/discarding", {"why": "wrong hand"}).status_code == 303
    assert f'href="{fit}"' in client.get("/bowlers/8").text

    made = sent(client, who, "/bowlers", {"name": "Once Mistaken", "hand": "left"}).headers["location"]
    assert sent(client, who, f"{made}/removal", {"why": "nobody"}).status_code == 303
    assert f'href="{made}"' in client.get("/?q=mistaken").text
    shown = client.get(made).text
    assert not [word for word in ("New fit", "New ball", "New inner") if word in shown]


def test_nothing_is_added_to_a_person_who_was_erased_meanwhile(client: Client, session: Session, who: str) -> None:
    session.get_one(Bowler, 1).erased_at = now()
    session.commit()
    ball = {"label": "late", "circumference": "27", "serial": "LA-7788"}
    for url, typed in (
        ("/bowlers/1/balls", ball),
        ("/bowlers/1/fits", FIT | {"hand": "left"}),
        ("/fits/2", FIT | {"hand": "right"}),
    ):
        late = sent(client, who, url, typed)
        assert late.status_code == 409
        assert "nothing may be added" in late.text
    assert sent(client, who, "/balls/2/owner", {"to_id": "8", "why": "sold"}).status_code == 303
    assert "Anna Johnson" not in client.get("/?q=johnson").text
    assert "/balls/new" not in client.get("/bowlers/1").text


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
