from tests.conftest import Client
from tests.pages.test_pages import text_of


def test_the_service_log_brings_ball_and_depth_along_and_counts(client: Client, who: str) -> None:
    for what in ("stuck", "stuck", "tabs"):
        typed = {"who": who, "version": "", "system_id": "1", "drilling_id": "1", "what": what, "note": ""}
        assert client.post("/troubles", typed).status_code == 303
    shown = text_of(client.get("/troubles").text)
    assert "Twist lock, floor seated: inner stuck 2" in shown
    assert "Blue pearl, league" in shown
    assert "Proved by:" in shown
    bad = client.post("/troubles", {"who": who, "version": "", "system_id": "1", "drilling_id": "999", "what": "stuck"})
    assert bad.status_code == 422
