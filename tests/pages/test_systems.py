import re

from tests.conftest import Client, not_none


def test_a_system_in_use_stays_and_says_where(client: Client, who: str) -> None:
    version = not_none(re.search(r'name="version" value="(\d+)"', client.get("/systems/1").text))[1]
    refused = client.post("/systems/1/removal", {"who": who, "version": version})
    assert refused.status_code == 409
    assert "is used in" in refused.text
    assert "inners" in refused.text
