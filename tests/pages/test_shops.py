from tests.conftest import Client


def test_one_observation_is_not_entered_twice(client: Client, who: str) -> None:
    typed = {
        "who": who,
        "version": "",
        "system_id": "1",
        "depth": "2 3/4",
        "datum": "collar",
        "obtained": "told",
        "observed_on": "2026-01-02",
    }
    assert client.post("/shops/2/depths", typed).status_code == 303
    again = client.post("/shops/2/depths", typed)
    assert again.status_code == 422
    assert "is there already" in again.text
    assert client.post("/shops/2/depths", typed | {"notes": "read again"}).status_code == 303
