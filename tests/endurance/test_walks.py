"""Random walks at the bench: no state that the pages cannot show or leave, no reading lost, no row unexplained.

Each walk posts the forms that the pages offer, through the app's own routes, filled in by chance.
"""

from collections.abc import Callable

import pytest
from fastapi import FastAPI

from app.models.plans import Plan
from app.pages import drillings
from app.services.work_outs import WorkedOut
from seed_demo.world import TWIST_LOCK
from tests.conftest import Client
from tests.endurance.walks import Walk

SEEDS, STEPS = 16, 126  # at least: 2,016 forms posted
HARDWARE = (
    {"label": "Set by hand", "height_set_by": "by_hand"},
    {"label": "Slug", "height_set_by": "slug", "inner_ods": "", "sleeve_od": "", "stock": ""},
)
pytestmark = pytest.mark.once


@pytest.fixture(autouse=True)
def _drawn_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Works out and draws each frozen plan once: it does not change in a walk, and takes half of a page's time."""
    kept: dict[str, dict[str, object]] = {}
    draw = drillings._draw_numbers

    def draw_once(plan: Plan, worked: WorkedOut) -> dict[str, object]:
        key = repr(plan)
        if key not in kept:
            kept[key] = draw(plan, worked)
        return kept[key]

    monkeypatch.setattr(drillings, "_draw_numbers", draw_once)


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
            if walk.state == "plugged":
                break
            walk.act()
        walk.walk_out()
    tell(f"walk {seed}: {sum(walk.answered.values())} forms, {walk.shown} pages, {walk.kept} readings kept")
