from tests.conftest import Client
from tests.pages.test_pages import text_of


def test_visitor_intake_offers_what_is_known_of_the_shop(client: Client) -> None:
    fragment = client.get("/visitors/known-depth?shop_id=2&system_id=1", headers={"HX-Request": "true"}).text
    assert "This shop is known" in fragment
    assert "200 days ago" in text_of(fragment)
    assert "told by the shop" in fragment
    unknown = client.get("/visitors/known-depth?shop_id=3&system_id=1", headers={"HX-Request": "true"}).text
    assert "trial fit" in unknown


def test_a_visitor_of_an_unknown_shop_is_sent_to_the_trial_fit(client: Client, who: str) -> None:
    intake = {
        "who": who, "version": "", "bowler_name": "Orla Fenn", "hand": "right", "shop_id": "", "shop_name": "Bridge End", "system_id": "1",
        "outside": "1 1/4", "bore_pitch": "1/4 reverse, 0", "depth": "unknown", "datum": "unknown",
    }  # fmt: skip
    answer = client.post("/visitors", intake)
    assert answer.status_code == 303
    page = client.get(answer.headers["location"])
    assert "How deep Bridge End bores is not known. Make a trial fit." in page.text
    trial = f"{answer.headers['location']}/trial-fits"
    bad = client.post(trial, {"who": who, "trial_depth": "2 3/4", "proud": "1/32"})
    assert bad.status_code == 422
    assert "Proud or sunk?" in bad.text
    assert client.post(trial, {"who": who, "trial_depth": "2 3/4", "proud": "1/32 sunk"}).status_code == 303
    assert client.post(f"{answer.headers['location']}/depth", {"who": who, "notes": ""}).status_code == 303
    assert client.post(f"{answer.headers['location']}/depth", {"who": who, "notes": ""}).status_code == 409
