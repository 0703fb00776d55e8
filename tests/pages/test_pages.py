"""What holds of every page, and of a form from another site or a commit that failed."""

import re

import pytest
from fastapi import FastAPI
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.models import Bowler
from tests.conftest import Client
from tests.pages.conftest import Look

SHEETS = (
    "/parts/1/label",
    "/drillings/1/sheet",
    "/drillings/1/strips",
    "/fits/1/card",
    "/fits/1/passport",
    "/balls/1/tag",
    "/board/paper",
)
PAGES = (
    "/", "/?q=johnson", "/bowlers/new", "/bowlers/1", "/bowlers/1/edit", "/bowlers/2/fits/new", "/bowlers/1/sits", "/bowlers/9/sits", "/fits/1", "/fits/2",
    "/fits/2/edit", "/fits/1/comparison?other=2", "/bowlers/1/balls/new", "/balls/1", "/photos/of/ball/1", "/balls/1/edit", "/balls/1/old-holes/new",
    "/balls/1/drillings/new", "/drillings/1", "/drillings/2", "/drillings/3", "/drillings/4", "/bowlers/1/inners/new",
    "/drillings/1/bench", "/drillings/3/bench", "/drillings/4/bench", "/drillings/1/comparison?other=2", "/fits/1/transfer",
    "/fits/1/transfer?system_id=&middle_cut=1", "/systems/1/route", *SHEETS,
    "/inners/1", "/inners/2", "/inners/1?pitch=0", "/inners/1?drilling=2", "/inners/1?drilling=2&rim_12=1/32 proud&rim_3=1/32 proud&rim_6=1/32 proud&rim_9=1/32 proud", "/systems", "/systems/new", "/systems/1", "/systems/1/edit",
    "/bowlers/1/axis-points", "/balls/1/marks", "/balls/1/layout", "/scales", "/regulations", "/drillings/1/balance",
    "/drillings/3/balance?start_top=3&along=0&across=1&across_way=left",
    "/board", "/board?wall=true", "/floor",
    "/cards/read", "/bowlers/1/card", "/bowlers/1/card?hand=left",
    "/shelf", "/shelf/new", "/parts/1", "/parts/1?undo=1", "/parts/1/edit", "/quality", "/drillings/1/alike?by=week", "/drillings/1/alike",
    "/shops", "/shops/new", "/shops/1", "/shops/2", "/shops/2/edit", "/settings", "/visitors", "/visitors?bowler_id=1",
    "/visitors/set", "/bits", "/studies", "/troubles", "/troubles?drilling_id=1&system_id=1", "/inners/2/loose", "/inners/2/loose?height_12=2.66&height_3=2.62&height_6=2.58&height_9=2.62",
    "/bowlers/1/merger", "/bowlers/1/merger?other=4", "/balls/1/owner", "/balls/1/owner?to=2", "/inners/1/owner?q=piet",
    "/tickets/new?bowler_id=1", "/tickets/new?bowler_id=1&thing=ball:2", "/follow-ups", "/squads",
    "/moving-in", "/moving-in/cards",
    "/design", "/help", "/help/card", "/help/changes", "/help/geometry", "/help/marking", "/help/running", "/help/security", "/help/speed", "/help/words",
)  # fmt: skip


def text_of(html: str) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", html))


@pytest.mark.once
@pytest.mark.parametrize("url", PAGES)
def test_every_page_answers(look: Look, url: str) -> None:
    answer = look(url)
    assert answer.status_code == 200
    assert answer.text.count("<h1") == 1
    assert "default-src 'self'" in answer.headers["content-security-policy"]
    assert " style=" not in answer.text


@pytest.mark.once
@pytest.mark.parametrize("url", PAGES)
def test_every_id_is_unique_and_every_field_is_described(look: Look, url: str) -> None:
    html = look(url).text
    ids = re.findall(r'\bid="([^"]+)"', html)
    assert len(ids) == len(set(ids))
    for names in re.findall(r'aria-describedby="([^"]+)"', html):
        assert set(names.split()) <= set(ids)


@pytest.mark.parametrize(
    "url",
    ["/nope", "/bowlers/999", "/fits/999", "/balls/999", "/drillings/999", "/systems/999", "/shops/999", "/inners/999", "/bowlers/abc", "/bowlers/0",
     "/bowlers/99999999999999999999", "/fits/1/comparison?other=999", "/bowlers/999/fits/new", "/balls/999/drillings/new", "/visitors?bowler_id=999",
     "/tickets/999", "/tickets/999/edit", "/tickets/new?bowler_id=999", "/squads/999", "/parts/999", "/parts/999/label", "/drillings/999/alike", "/drillings/999/balance",
     "/bowlers/999/axis-points", "/balls/999/marks", "/balls/999/layout", "/layouts/999/strips", "/scales/999", "/regulations/999", "/moving-in/999", "/moving-in/cards/999", "/moving-in/cards/1/999"],
)  # fmt: skip
def test_what_is_not_there_is_404_in_words(client: Client, url: str) -> None:
    answer = client.get(url)
    assert answer.status_code == 404
    assert "There is no such" in answer.text


def new_bowler(who: str, **typed: str) -> dict[str, str]:
    return {
        "who": who,
        "name": "Lars Quint",
        "phone": "555 0100 4477",
        "hand": "right",
        "home_shop_id": "1",
        "notes": "",
    } | typed


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


def test_a_datum_is_never_a_silent_default(client: Client) -> None:
    assert re.search(r'<option value="unknown" selected>', client.get("/visitors").text)
    assert "— choose —" in client.get("/shops/2").text
    assert not re.search(
        r'id="span_edges".*?selected', client.get("/bowlers/8/fits/new").text.split('id="bridge"')[0], re.S
    )
