"""Drawings kept for one test: those of a plan do not change, and take most of a page's time."""

from collections.abc import Callable

import pytest

from app.pages import drillings, pictures, sections


def draw_each_plan_once(patch: pytest.MonkeyPatch) -> None:
    """Draws each distinct plan as the app does, and shows the same drawing whenever that plan is shown again."""
    for module, name in ((drillings, "_draw_numbers"), (sections, "draw_sections"), (pictures, "draw_grip")):
        patch.setattr(module, name, _keep(getattr(module, name)))


def _keep(draw: Callable[..., object]) -> Callable[..., object]:
    kept: dict[str, object] = {}

    def draw_once(*of: object, **named: object) -> object:
        key = repr((of, named))
        if key not in kept:
            kept[key] = draw(*of, **named)
        return kept[key]

    return draw_once
