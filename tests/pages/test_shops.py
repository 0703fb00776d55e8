import re

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.models import Shop
from app.services.depths import load_shop_depths
from app.services.shops import LARGEST_PICTURE
from tests.conftest import Client, not_none
from tests.pages.test_visitor_sets import TINY_PNG


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


def look(client: Client, who: str, **typed: str) -> dict[str, str]:
    version = not_none(re.search(r'name="version" value="(\d+)"', client.get("/shops/1/edit").text))[1]
    return {"who": who, "version": version, "accent": "plum"} | typed


def test_a_shop_of_the_chain_has_its_own_accent_and_picture_on_every_page(client: Client, who: str) -> None:
    sent = client.post("/shops/1/look", look(client, who), files={"photo": ("a.png", TINY_PNG, "image/png")})
    assert sent.status_code == 303
    page = client.get("/systems").text
    assert '<html lang="en" data-accent="plum">' in page
    shown = client.get(not_none(re.search(r'<img src="(/shops/1/picture\?v=\d+)"', page))[1])
    assert (shown.content, shown.headers["content-type"]) == (TINY_PNG, "image/png")
    assert client.post("/shops/1/look", look(client, who, takes_picture_away="true")).status_code == 303
    assert "/picture" not in client.get("/systems").text
    assert client.get("/shops/1/picture").status_code == 404


@pytest.mark.parametrize(
    ("shop", "typed", "picture", "field"),
    [
        (1, {"accent": "mauve"}, TINY_PNG, "look-accent-error"),
        (1, {}, b"GIF89a", "look-photo-error"),
        (1, {}, TINY_PNG + bytes(LARGEST_PICTURE), "look-photo-error"),
    ],
)
def test_a_look_that_is_refused_says_so_at_its_field(
    client: Client, who: str, shop: int, typed: dict[str, str], picture: bytes, field: str
) -> None:
    files = {"photo": ("a.png", picture, "image/png")}
    refused = client.post(f"/shops/{shop}/look", look(client, who, **typed), files=files)
    assert refused.status_code == 422
    assert f'id="{field}"' in refused.text


def test_another_shop_has_no_pages_to_colour(client: Client, who: str) -> None:
    refused = client.post("/shops/2/look", look(client, who, version="1"))
    assert refused.status_code == 422
    assert "a shop of the chain" in refused.text


def test_the_shops_stand_on_one_scale_with_how_far_each_is_from_ours(client: Client, session: Session) -> None:
    """The marks are in the ratio of the differences; their words are the differences in 64ths, counted here anew."""
    page = client.get("/shops").text
    drawn = re.findall(
        r'class="depth-strip"[^>]*aria-label="([^":]+): ([^"]+)">.*?class="mark" d="M(-?[\d.]+) ', page, re.S
    )
    known = load_shop_depths(session, session.scalars(select(Shop.id)).all())
    names = {shop.name: shop.id for shop in session.scalars(select(Shop))}
    off = {name: known[names[name], 1].estimate.depth_in - known[1, 1].estimate.depth_in for name, _, _ in drawn}
    assert sum(value != 0 for value in off.values()) >= 1
    scale = {round(float(x) / off[name], -1) for name, _, x in drawn if off[name]}
    assert len(scale) == 1 and min(scale) > 0
    for name, words, _ in drawn:
        count = f"{abs(64 * off[name]):.1f}".removesuffix(".0")
        side = f"+{count}/64 deeper" if off[name] > 0 else f"{count}/64 shallower"
        assert words == (side if off[name] else "ours")
