import re

import pytest
from httpx import Response

from tests.conftest import Client, not_none
from tests.pages.test_pages import text_of


def set_row(who: str, **typed: str) -> dict[str, str]:
    row = {
        "who": who, "version": "", "row_id": "", "bowler_name": "Orla Fenn", "hand": "right", "shop_id": "2", "system_id": "1", "outside": "1 1/4",
        "bore_pitch": "1/4 reverse, 0", "datum": "collar", "obtained": "told", "ball_label": "Green",
    }  # fmt: skip
    return row | typed


def test_a_row_of_a_set_carries_shop_and_hardware_down(client: Client, who: str) -> None:
    answer = client.post("/visitors/set", set_row(who))
    assert answer.status_code == 303
    page = client.get(answer.headers["location"]).text
    assert re.search(r'<option value="2" selected>', page)
    assert 'value="1/4 reverse, 0"' in page
    assert "Orla Fenn" in page  # among what was taken in
    second = client.post("/visitors/set", set_row(who, ball_label="Second ball"))
    assert second.status_code == 303  # the same bowler again, not a likely duplicate
    found = client.get("/?q=fenn", headers={"HX-Request": "true"}).text
    assert "Second ball, Green" in text_of(found)


def test_a_row_that_cannot_be_taken_in_is_kept_and_finished_later(client: Client, who: str) -> None:
    bad = client.post("/visitors/set", set_row(who, outside="1 5/8"))
    assert bad.status_code == 422
    assert "wider than the sleeve" in bad.text
    assert "Unfinished, 1" in bad.text
    row = not_none(re.search(r"/visitors/set\?row=(\d+)", client.get("/visitors/set").text))[1]
    again = client.get(f"/visitors/set?row={row}").text
    assert 'value="1 5/8"' in again
    still = client.post("/visitors/set", set_row(who, outside="43/8", row_id=row))
    assert "Unfinished, 1" in still.text  # the same row, not a second one
    assert client.post("/visitors/set", set_row(who, row_id=row)).status_code == 303
    assert "Unfinished" not in client.get("/visitors/set").text


def test_two_of_one_name_ask_for_the_phone(client: Client, who: str) -> None:
    typed = set_row(who, bowler_name="Anna Johnson", ball_label="Other")
    client.post(
        "/bowlers", {"who": who, "version": "", "name": "Anna Johnson", "hand": "right", "is_somebody_else": "true"}
    )
    asked = client.post("/visitors/set", typed)
    assert asked.status_code == 422
    assert "write the last digits of the phone" in asked.text
    assert client.post("/visitors/set", typed | {"bowler_phone": "7788"}).status_code == 303


TINY_PNG = bytes.fromhex(
    "89504e470d0a1a0a0000000d4948445200000001000000010806000000"
    "1f15c4890000000d49444154789c6360606060000000050001a5f645400000000049454e44ae426082"  # pragma: allowlist secret
)


def with_photo(client: Client, who: str, data: bytes, **typed: str) -> Response:
    return client.post("/visitors/set", set_row(who, **typed), files={"photo": ("ball.png", data, "image/png")})


def test_a_photo_comes_along_with_a_row_of_a_set(client: Client, who: str) -> None:
    assert with_photo(client, who, TINY_PNG).status_code == 303
    ball = not_none(
        re.search(r"/balls/(\d+)\">Green", client.get("/bowlers/match?q=fenn", follow_redirects=True).text)
    )[1]
    photo = not_none(re.search(r"/photos/(\d+)", client.get(f"/balls/{ball}").text))[1]
    shown = client.get(f"/photos/{photo}")
    assert shown.content.startswith(b"\xff\xd8\xff")
    assert shown.headers["content-type"] == "image/jpeg"
    assert client.get("/photos/999").status_code == 404


@pytest.mark.parametrize(("data", "typed", "words"), [
    (b"<script>alert(1)</script>", {}, "JPEG, PNG, WebP and HEIC"), (TINY_PNG + b"x" * (25 * 1024 * 1024), {}, "larger than 25 MB"), (TINY_PNG, {"ball_label": ""}, "Name the ball"),
])  # fmt: skip
def test_what_is_no_photo_is_refused_at_its_field_and_the_row_kept(
    client: Client, who: str, data: bytes, typed: dict[str, str], words: str
) -> None:
    refused = with_photo(client, who, data, **typed)
    assert refused.status_code == 422
    assert words in refused.text
    assert "Unfinished, 1" in refused.text
    assert "Choose it again" in refused.text


def test_a_row_sent_twice_is_one_ball_and_another_like_it_wants_its_serial(client: Client, who: str) -> None:
    assert client.post("/visitors/set", set_row(who)).status_code == 303
    again = client.post("/visitors/set", set_row(who))
    assert again.status_code == 422
    assert "has this ball here" in again.text
    assert client.post("/visitors/set", set_row(who, ball_serial="QL-77")).status_code == 303
