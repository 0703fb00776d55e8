"""Random walks at the bench: no state that the pages cannot show or leave, no reading lost, no row unexplained.

Each walk posts the forms that the pages offer, through the app's own routes, filled in by chance.
"""

from collections.abc import Callable

import pytest
from fastapi import FastAPI

from seed_demo.world import TWIST_LOCK
from tests.conftest import Client
from tests.endurance.drawn_once import draw_each_plan_once
from tests.endurance.walks import Walk

SEEDS, STEPS = 16, 126  # at least: 2,016 forms posted
HARDWARE = (
    {"label": "Set by hand", "height_set_by": "by_hand"},
    {"label": "Slug", "height_set_by": "slug", "inner_ods": "", "sleeve_od": "", "stock": ""},
)
pytestmark = pytest.mark.once


@pytest.fixture(autouse=True)
def _drawn_once(monkeypatch: pytest.MonkeyPatch) -> None:
    draw_each_plan_once(monkeypatch)


@pytest.mark.parametrize("seed", range(SEEDS))
def test_a_walk_is_shown_left_and_explained(
    app: FastAPI, client: Client, who: str, seed: int, tell: Callable[[str], None]
) -> None:
    for hardware in HARDWARE:
        assert client.post("/systems", TWIST_LOCK | hardware | {"who": who}).status_code == 303
    walk = Walk(app, client, seed)
    while sum(walk.answered.values()) < STEPS:
        walk.plan()
        for _ in range(walk.chance.randint(3, 60)):
            if walk.state == "plugged" or sum(walk.answered.values()) >= STEPS:
                break
            walk.act()
        walk.walk_out()
    tell(f"walk {seed}: {sum(walk.answered.values())} forms, {walk.shown} pages, {walk.kept} readings kept")
