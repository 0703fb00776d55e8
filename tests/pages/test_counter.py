from tests.conftest import Client
from tests.pages.test_pages import text_of


def test_the_counter_finds_as_one_types(client: Client) -> None:
    fragment = client.get("/?q=jonson", headers={"HX-Request": "true"}).text
    assert "<html" not in fragment
    assert "Anna Johnson" in text_of(fragment)
    shown = text_of(fragment)
    for words in (
        "right hand",
        "fit A",
        "Spare ball, plain, Blue pearl, league",
        "Quarry Lane Pro Shop",
        "fit B is a draft",
    ):
        assert words in shown


def test_enter_opens_a_clear_match_and_lists_the_rest(client: Client) -> None:
    assert client.get("/bowlers/match?q=anna johnson").headers["location"] == "/bowlers/1?found=1"
    assert client.get("/bowlers/match?q=7788").headers["location"] == "/bowlers/1?found=1"
    assert client.get("/bowlers/match?q=bertil johnson").headers["location"] == "/?q=bertil+johnson"
    assert client.get("/bowlers/match?q=zzz").headers["location"] == "/?q=zzz"
