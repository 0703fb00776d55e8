"""Which layout a drilling is on, and what of it does not hold any more: told alike on its page, the plan, the bench."""

import re

import pytest

from tests.conftest import Client, not_none
from tests.pages.test_bench import ticked
from tests.pages.test_layouts import NUMBERS, choose, read_arcs, record_point
from tests.pages.test_pages import text_of

BALL, DRILLING = 3, 3  # planned for the left hand of bowler 2
PAGES = (f"/balls/{BALL}/layout", f"/drillings/{DRILLING}", f"/drillings/{DRILLING}/bench")


def read_version(client: Client, path: str = f"/drillings/{DRILLING}/bench") -> str:
    return not_none(re.search(r'.*name="version" value="(\d+)"', client.get(path).text, re.S))[1]


def read_back(client: Client, who: str, point_id: str = "1") -> None:
    """Lays the plan's ball out and reads it back; nothing is cut yet."""
    record_point(client, who, 2, hand="left")
    assert choose(client, who, BALL, axis_point_id=point_id).status_code == 303
    for position in (1, 2, 3):
        assert ticked(client, who, position).status_code == 303
    assert client.post(f"/drillings/{DRILLING}/confirmation", {"who": who}).status_code == 303


def tell(client: Client) -> list[str]:
    pages = (" ".join(text_of(client.get(path).text).split()) for path in PAGES)
    return [re.sub(" ([;.])", r"\1", page) for page in pages]


def test_a_layout_chosen_since_is_told_everywhere_and_taken_once(client: Client, who: str) -> None:
    read_back(client, who)
    assert not any("Chosen since" in page for page in tell(client))
    assert choose(client, who, BALL, pin_axis="5", axis_line="60", drilling="20").status_code == 303
    for page in tell(client):
        assert "Chosen since: 5 · 60° · 20°; this drilling stays on 4 · 35° · 40°" in page
    shown = client.get(PAGES[0]).text
    assert "this drilling is not on it" in text_of(shown)
    form = not_none(re.search(r'<section id="taking".*?</section>', shown, re.S))[0]
    typed = dict(re.findall(r'name="(layout_id|version)" value="(\d+)"', form)) | {"who": who}
    stale = client.post(f"/drillings/{DRILLING}/layout", typed | {"layout_id": "1"})
    assert stale.status_code == 409
    assert client.post(f"/drillings/{DRILLING}/layout", typed).status_code == 303
    pages = tell(client)
    assert not any("Chosen since" in page for page in pages)
    assert all("5 · 60° · 20°" in page for page in pages[1:])
    assert "Read this back before the first cut" in pages[2]


def test_dropping_the_layout_of_a_plan_is_asked_in_its_own_form(client: Client, who: str) -> None:
    read_back(client, who)
    typed = {"who": who, "why": "wrong pin", "version": read_version(client, PAGES[0])}
    asked = client.post("/layouts/1/dropping", typed)
    assert (asked.status_code, 'name="is_meant"' in asked.text) == (422, True)
    assert 'id="drop-1-is_meant-error"' in asked.text and 'value="wrong pin"' in asked.text
    assert client.post("/layouts/1/dropping", typed | {"is_meant": "true"}).status_code == 303
    assert "4 · 35° · 40°" not in tell(client)[2]


def test_twenty_forms_of_one_page_make_one_layout_and_keep_what_was_typed(client: Client, who: str) -> None:
    record_point(client, who)
    answers = [
        client.post("/balls/1/layouts", NUMBERS | {"who": who, "version": "0", "key": f"{i:032x}", "note": "mine"})
        for i in range(20)
    ]
    assert [answer.status_code for answer in answers] == [303] + 19 * [409]
    assert all('value="mine"' in answer.text for answer in answers[1:])
    assert client.get("/layouts/2/strips").status_code == 404


def test_an_axis_point_taken_back_is_said_and_another_can_be_picked(client: Client, who: str) -> None:
    read_back(client, who)
    form = {"who": who, "why": "of a borrowed ball"}
    assert client.post("/axis-points/1/taking-back", form).status_code == 303
    for page in (*tell(client), text_of(client.get("/layouts/1/strips").text)):
        assert "xis point taken back (of a borrowed ball)" in page
    for path in PAGES[:2]:
        assert not re.search(r'class="strip good"', client.get(path).text)
    shown = client.get(PAGES[0]).text
    assert f'href="/bowlers/2/axis-points?return_to={PAGES[0]}">Record an axis point' in shown
    record_point(client, who, 2, hand="left", point="5 over 1/4 up")
    choices = re.findall(r'<option value="(\d+)" (selected)?', client.get(PAGES[0]).text)
    assert choices == [("2", ""), ("1", "selected")]
    refused = choose(client, who, BALL)
    assert (refused.status_code, 'id="axis_point_id-error"' in refused.text) == (422, True)
    assert choose(client, who, BALL, axis_point_id="2").status_code == 303


def test_a_sold_ball_does_not_lay_its_former_owners_axis_point_on_the_new_one(client: Client, who: str) -> None:
    record_point(client, who)
    assert choose(client, who).status_code == 303
    name = "Anna"
    assert name in client.get("/layouts/1/strips").text
    sold = {"who": who, "to_id": "2", "why": "sold", "version": read_version(client, "/balls/1")}
    assert client.post("/balls/1/owner", sold).status_code == 303
    page, strips = (client.get(path).text for path in ("/balls/1/layout", "/layouts/1/strips"))
    for shown in (page, strips):
        assert "xis point of a former owner" in text_of(shown)
        assert name not in shown
    assert "Former owner" in strips
    owner = re.findall(r"<h1[^>]*>(.*?)</h1>", client.get("/bowlers/2").text, re.S)[0]
    assert text_of(owner).split()[0] not in strips
    assert "Record an axis point" in page
    record_point(client, who, 2)
    assert re.findall(r'<option value="(\d+)" (selected)?', client.get("/balls/1/layout").text)[:2] == [
        ("2", ""),
        ("1", "selected"),
    ]
    assert choose(client, who, axis_point_id="2").status_code == 303


@pytest.mark.parametrize("path", ["/balls/1/layout", "/drillings/1/balance"])
def test_marks_read_again_are_told_beside_the_layout_and_its_balance(client: Client, who: str, path: str) -> None:
    record_point(client, who)
    marks = {"who": who, "has_mass_mark": "yes", "label_weight": "15 lb", "top_weight": "3", "pin_centre": "3"}
    assert client.post("/balls/1/marks", marks | {"version": "0", "pin_mark": "6 3/4"}).status_code == 303
    assert choose(client, who, drilling_id="1").status_code == 303
    assert "read again" not in client.get(path).text
    assert client.post("/balls/1/marks", marks | {"version": "1", "pin_mark": "6 1/2"}).status_code == 303
    shown = client.get(path).text
    assert "aid out from the marks of" in shown
    here = client.get("/balls/1/layout").text
    anew = re.sub("&amp;", "&", not_none(re.search(r'href="(/balls/1/layout\?[^"]*anew=true)"', here))[1])
    laid = client.get(anew).text
    assert "read again" not in laid
    assert "not saved" in text_of(laid)
    assert (read_arcs(here)["Pin to mass mark"], read_arcs(laid)["Pin to mass mark"]) == (6.75, 6.5)
    assert choose(client, who, drilling_id="1").status_code == 303
    assert "read again" not in client.get(path).text


def test_a_layouts_drawing_follows_while_it_is_typed(client: Client, who: str) -> None:
    record_point(client, who)
    shown = client.get("/balls/1/layout", params=NUMBERS).text
    trigger = not_none(re.search(r'<section id="worked"[^>]*hx-trigger="([^"]*)"', shown))[1]
    assert re.search(r"input from:#layout delay:\d+ms", trigger)
