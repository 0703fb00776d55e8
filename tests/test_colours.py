"""Contrast of the tokens by WCAG 2.2, success criterion 1.4.6 and 1.4.3 (definition of relative luminance), both schemes."""

import re

import pytest

from app.closed_sets import ACCENT_WORDS
from app.settings import ROOT

CSS = (ROOT / "static/css/tokens.css").read_text(encoding="utf-8").partition("@supports")[0]
NUMBERS, WORDS = 7.0, 4.5
PAIRS = [
    *((words, ground, NUMBERS) for words in ("ink", "signal-ink", "good", "fail") for ground in ("paper", "sheet")),
    *((words, ground, WORDS) for words in ("mid", "accent", "ink") for ground in ("paper", "sheet", "well", "tint")),
    *((name, f"{of}-tint", WORDS) for name, of in (("good", "good"), ("fail", "fail"), ("signal-ink", "signal"))),
    ("accent-ink", "accent", WORDS),
    ("faint", "sheet", 3.0),  # edges of fields: 1.4.11
]


def read_tokens(accent: str, scheme: int) -> dict[str, str]:
    assert f'[data-accent="{accent}"]' in CSS or accent == "petrol"
    raw: dict[str, str] = {}
    root = CSS.partition(":root {")[2].partition("\n}")[0]
    chosen = re.search(rf'\[data-accent="{accent}"\] {{(.*?)}}', CSS)
    for text in (root, chosen[1] if chosen else ""):
        raw |= {m[1]: m[2 + scheme] for m in re.finditer(r"--([\w-]+): light-dark\((#\w+), (#\w+)\)", text)}
    return raw | {m[1]: raw[m[2]] for m in re.finditer(r"--([\w-]+): var\(--([\w-]+)\)", root)}


def luminance(colour: str) -> float:
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    red, green, blue = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    dark, light = sorted((luminance(one), luminance(other)))
    return (light + 0.05) / (dark + 0.05)


def test_the_measure_of_contrast_is_that_of_the_standard() -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#777777", "#ffffff") == pytest.approx(4.48, abs=0.005)  # from memory


@pytest.mark.parametrize("scheme", [0, 1], ids=["light", "dark"])
@pytest.mark.parametrize("accent", ACCENT_WORDS)
def test_every_token_can_be_read_on_its_grounds(accent: str, scheme: int) -> None:
    tokens = read_tokens(accent, scheme)
    measured = {(one, other): contrast(tokens[one], tokens[other]) for one, other, _ in PAIRS}
    assert {(a, b): round(measured[a, b], 2) for a, b, least in PAIRS if measured[a, b] < least} == {}
