from app.calculation.verdict_rates import drilling_rates
from app.measures.wording import share_words
from tests.conftest import Client
from tests.pages.test_pages import text_of


def test_the_page_tells_what_the_shops_own_limits_give(client: Client, who: str) -> None:
    def told() -> str:
        return text_of(client.get("/settings").text).partition("What these limits give")[2].partition("Where little")[0]

    assert f"0.005 in {share_words(drilling_rates(1 / 32, 0.005).green_once)}" in told()
    assert client.post("/settings/tolerance", {"who": who, "value": "1/64", "source": "bowlers"}).status_code == 303
    form = {"who": who, "value": "0.006", "source": "our caliper"}
    assert client.post("/settings/span_spread", form).status_code == 303
    for doubt, name in ((1 / 64, "1/64 in"), (0.005, "0.005 in"), (0.006, "as set above")):
        rates = drilling_rates(1 / 64, doubt)
        cells = (rates.green_once, rates.green, rates.again, rates.missed)
        assert f"{name} {' '.join(share_words(share) for share in cells)} " in told()


def test_a_limit_is_assumed_until_the_shop_sets_it(client: Client, who: str) -> None:
    assert "ASSUMED" in client.get("/settings").text
    bad = client.post("/settings/tolerance", {"who": who, "value": "3 47/0", "source": "our study"})
    assert bad.status_code == 422
    assert 'value="3 47/0"' in bad.text
    assert client.post("/settings/tolerance", {"who": who, "value": "1/32", "source": "our study"}).status_code == 303
    page = client.get("/settings").text
    assert "our study" in page
    assert client.post("/settings/nonsense", {"who": who, "value": "1/32", "source": "x"}).status_code == 404
