"""Random walks at the bench: no state that the pages cannot show or leave, no reading lost, no row unexplained.

Each walk posts the forms that the pages offer, through the app's own routes, filled in by chance.
"""

from collections.abc import Callable

import pytest
from fastapi import FastAPI

from app.pages import drillings, pictures, sections
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
    """Draws each plan once: its pictures do not change in a walk, and take most of a page's time."""
    for module, name in ((drillings, "_draw_numbers"), (sections, "draw_sections"), (pictures, "draw_grip")):
        monkeypatch.setattr(module, name, _keep(getattr(module, name)))


def _keep(draw: Callable[..., object]) -> Callable[..., object]:
    kept: dict[str, object] = {}

    def draw_once(*of: object, **named: object) -> object:
        key = repr((of, named))
        if key not in kept:
            kept[key] = draw(*of, **named)
        return kept[key]

    return draw_once


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
