from app.schemas.studies import CELLS
from tests.conftest import Client


def test_a_study_with_a_bad_reading_keeps_its_text(client: Client, who: str) -> None:
    typed = {c: f"3.7{i:02d}" for i, c in enumerate(CELLS)} | {"p0t0k0": "94.9"}
    bad = client.post(
        "/studies", {"who": who, "version": "", "instrument": "span gauge", "measures": "sleeve_to_cut"} | typed
    )
    assert bad.status_code == 422
    assert 'value="94.9"' in bad.text
    assert "inches or mm" in bad.text
