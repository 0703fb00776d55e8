import re

from tests.conftest import Client


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
        "grip_holes": "three",
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


def test_a_hole_that_the_grip_has_not_is_asked_about_and_keeps_its_text(client: Client, who: str) -> None:
    typed = {"who": who, "hand": "left", "style": "fingertip", "reason": "first fit", "grip_holes": "thumbless"}
    typed |= {"spans": "2 x 2 1/8", "span_edges": "cut", "bridge": "1/4", "bridge_edges": "cut", "thumb_hole": "15/16"}
    answer = client.post("/bowlers/8/fits", typed)
    assert answer.status_code == 422
    assert 'id="thumb_hole-error"' in answer.text
    assert 'name="thumb_hole" value="15/16"' in answer.text
    assert client.post("/bowlers/8/fits", typed | {"thumb_hole": ""}).status_code == 303


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
