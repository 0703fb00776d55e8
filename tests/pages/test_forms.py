"""Of several forms on a page, a refused one alone keeps its typed text, shows its errors and stands open."""

import re

import pytest

from app.errors import FieldError
from app.pages.forms import Forms
from tests.conftest import Client, not_none


def field(page: str, id: str) -> str:
    """The value of the field with this id."""
    found = re.search(rf'id="{id}" name="[^"]*"[^>]*? value="([^"]*)"', page, re.DOTALL)
    assert found, id
    return found[1]


def test_only_the_refused_form_has_what_was_typed_and_what_is_wrong() -> None:
    forms = Forms({"reason": "typed"}, {"reason": FieldError("Too short.")}, "closing", 1, list)
    closing, plugging = forms.of("closing"), forms.of("plugging", saved={"reason": "saved", "note": None})
    assert closing.is_open
    assert closing.value("reason") == "typed"
    assert closing.error("reason") == FieldError("Too short.")
    assert not plugging.is_open
    assert plugging.value("reason") == "saved"
    assert plugging.value("note") == plugging.value("absent") == ""
    assert plugging.error("reason") is None
    assert forms.of("").value("reason") == ""


def test_the_only_form_of_a_page_needs_no_name() -> None:
    typed = Forms({"value": 0}, {}, "", "", list).of("")
    assert typed.value("value") == "0"
    assert not typed.is_open


def test_a_refused_finding_keeps_its_text_and_leaves_the_form_beside_it_empty(client: Client, who: str) -> None:
    version = not_none(re.search(r'name="version" value="(\d+)"', client.get("/drillings/3").text))[1]
    assert client.post("/drillings/3/drilled", {"who": who, "version": version, "datum": "unknown"}).status_code == 303
    typed = {"who": who, "what": "thumb_hole", "value": "31/0", "note": "sanded at home"}
    page = client.post("/drillings/3/findings", typed)
    assert page.status_code == 422
    assert field(page.text, "found-value") == "31/0"
    assert field(page.text, "found-note") == "sanded at home"
    assert 'id="found-value-error"' in page.text
    assert field(page.text, "finish-note") == ""
    assert len(re.findall(r"<details[^>]* open>", page.text)) == 1


@pytest.mark.parametrize(("name", "refused"), [("tick-removal", True), ("tick", False)])
def test_a_wrong_pin_is_told_at_the_form_that_was_sent(client: Client, who: str, name: str, refused: bool) -> None:
    assert client.post("/drillings/3/steps/1/tick", {"who": who}).status_code == 303
    position, other = 1 if refused else 2, "1" if who == "2" else "2"
    page = client.post(f"/drillings/3/steps/{position}/{name}", {"who": other, "pin": "9999", "version": ""})
    assert ('id="back-pin-error"' in page.text) == refused
    assert ('id="pin-error"' in page.text) != refused


def focused(page: str) -> list[str]:
    """The names of the controls that ask for the focus when the page opens."""
    tags = re.findall(r"<(?:input|select|textarea)[^>]*>", page)
    return [not_none(re.search(r'name="([^"]*)"', tag))[1] for tag in tags if re.search(r"\sautofocus\b", tag)]


def test_the_first_wrong_field_of_a_refused_form_has_the_focus(client: Client, who: str) -> None:
    typed = {"who": who, "hand": "right", "grip_holes": "three", "style": "conventional", "span_edges": "cut"}
    wrong = {"spans": "4 1/2 x 4 7/16", "bridge": "1/4", "thumb_pitch": "3/8 backwards", "ring_hole": "31/0"}
    assert focused(client.post("/bowlers/1/fits", typed | wrong).text) == ["thumb_pitch"]
    assert focused(client.get("/bowlers/new").text) == ["name"]
    assert focused(client.post("/bowlers", {"who": who, "name": "Lars Quint", "hand": "neither"}).text) == ["hand"]
    row = {"who": who, "bowler_name": "Lars Quint", "hand": "right", "ball_label": "Blue", "depth": "31/0"}
    assert focused(client.post("/visitors/set", row).text)[0] != "bowler_name"


def test_a_wrong_pin_has_the_focus(client: Client, who: str) -> None:
    other = "1" if who == "2" else "2"
    page = client.post("/bowlers", {"who": other, "pin": "9999", "name": "Lars Quint", "hand": "right"})
    assert focused(page.text) == ["pin"]


def test_a_drilling_made_elsewhere_has_nothing_to_read_back(client: Client, who: str) -> None:
    page = client.post("/drillings/4/confirmation", {"who": who, "version": "", "reason": "wanted"})
    assert page.status_code == 409
    assert "made elsewhere: there is no plan" in page.text
