import re

from tests.conftest import Client, not_none


def test_a_system_in_use_stays_and_says_where(client: Client, who: str) -> None:
    version = not_none(re.search(r'name="version" value="(\d+)"', client.get("/systems/1").text))[1]
    refused = client.post("/systems/1/removal", {"who": who, "version": version})
    assert refused.status_code == 409
    assert "is used in" in refused.text
    assert "inners" in refused.text


def test_an_arrow_moves_a_step_keeps_what_was_typed_and_saves_nothing(client: Client, who: str) -> None:
    page = client.get("/systems/1/route").text
    typed = dict(re.findall(r'name="((?:place|keep)-\w+)" value="(\w+)"', page)) | {
        "who": who,
        "words-bore": "Bore it home",
    }
    version = not_none(re.search(r'name="version" value="(\d+)"', page))[1]
    shown = client.post("/systems/1/route", typed | {"version": version, "move": "up-bore"})
    assert shown.status_code == 200
    order = re.findall(r'data-action="(\w+)"', shown.text)
    assert order.index("bore") == re.findall(r'data-action="(\w+)"', page).index("bore") - 1
    assert 'value="Bore it home"' in shown.text
    assert re.findall(r'data-action="(\w+)"', client.get("/systems/1/route").text) != order
    moved = dict(re.findall(r'name="(place-\w+)" value="(\d+)"', shown.text))
    assert client.post("/systems/1/route", typed | moved | {"version": version}).status_code == 303
    saved = client.get("/systems/1/route").text
    kept = [a for a in order if f"keep-{a}" in typed]
    assert [a for a in re.findall(r'data-action="(\w+)"', saved) if a in kept] == kept
