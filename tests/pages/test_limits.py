from tests.conftest import Client


def test_a_limit_is_assumed_until_the_shop_sets_it(client: Client, who: str) -> None:
    assert "ASSUMED" in client.get("/settings").text
    bad = client.post("/settings/tolerance", {"who": who, "value": "3 47/0", "source": "our study"})
    assert bad.status_code == 422
    assert 'value="3 47/0"' in bad.text
    assert client.post("/settings/tolerance", {"who": who, "value": "1/32", "source": "our study"}).status_code == 303
    page = client.get("/settings").text
    assert "our study" in page
    assert client.post("/settings/nonsense", {"who": who, "value": "1/32", "source": "x"}).status_code == 404
