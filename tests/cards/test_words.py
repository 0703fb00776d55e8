"""The words say every number of the card, and what is unknown."""

import re
from dataclasses import replace
from fractions import Fraction

import pytest

from app.cards.contents import Card, Hardware, Hole
from app.cards.words import length_words, list_words, pitch_words
from app.measures.lengths import read_length
from app.measures.reading import Quantity
from tests.cards.made import BORE, INNER, THUMB_HARDWARE, make_card, make_fit

F = Fraction
ANY_SIZE = Quantity("size", F(0), F(30), F(0), F(30))


def _say(card: Card) -> dict[str, str]:
    return {f"{heading}: {label}": words for heading, lines in list_words(card) for label, words in lines}


@pytest.mark.parametrize("value", [F(257, 64), F(27_506, 10_000), F(25, 127), F(1, 3), F(5, 10_000), F(40), F(1, 128)])
def test_a_length_in_words_reads_back_exactly(value: Fraction) -> None:
    if value <= 30:
        assert read_length(length_words(value), ANY_SIZE).value == value


@pytest.mark.parametrize(
    ("value", "words"), [(F(257, 64), "4 1/64"), (F(27_506, 10_000), "2.7506"), (F(25, 127), "5 mm"), (F(1, 3), "1/3")]
)
def test_a_length_is_spelled_as_the_trade_does(value: Fraction, words: str) -> None:
    assert length_words(value) == words


@pytest.mark.parametrize(
    ("pitch", "words"),
    [
        ((F(-1, 4), F(1, 8), "right", "thumb"), "1/4 reverse, 1/8 right (towards the palm)"),
        ((F(-1, 4), F(1, 8), "left", "thumb"), "1/4 reverse, 1/8 right (away from the palm)"),
        ((F(1, 4), F(-1, 8), "right", "finger"), "1/4 forward, 1/8 left"),
        ((F(0), F(0), "right", "thumb"), "straight"),
        ((F(0), F(1, 8), "", ""), "0, 1/8 right"),
        ((None, F(0), "", ""), "unknown, 0 sideways"),
        ((F(1, 8), None, "", ""), "1/8 forward, unknown"),
        ((None, None, "", ""), "unknown, unknown"),
    ],
)
def test_a_pitch_has_its_directions(pitch: tuple[Fraction | None, Fraction | None, str, str], words: str) -> None:
    assert pitch_words(*pitch) == words


def test_the_card_says_its_fit_with_its_edges() -> None:
    said = _say(make_card())
    assert said["Card: bowler"] == "Ada Quillfeather, right hand"
    assert said["Fit B: span to ring"] == "4 5/32 to the cut edges, before inserts"
    assert said["Fit B: thumb hole"] == "15/16 hole, 1/16 wider towards 1:30 (45°)"
    assert said["Inner 1: dry days: depth"] == "2 3/4, collar setting, standard doubt 0.004"
    assert said["Inner 2: humid: pitch of the bore"] == "straight, or never asked"
    assert said["Depth of Harbour Lane: from"] == "5 observations of 4 balls, as of 2026-03-01"


def test_unknown_is_said() -> None:
    fit = replace(make_fit(), middle_span_in=None, span_edges="unknown", bridge_in=None, thumb=Hole(offset_in=None))
    said = _say(make_card(fit=fit, hardware=(Hardware(digit="thumb"), THUMB_HARDWARE)))
    assert said["Fit B: span to middle"] == "unknown"
    assert said["Fit B: span to ring"] == "4 5/32, edges unknown"
    assert said["Fit B: bridge"] == "unknown"
    assert said["Fit B: thumb off the centre line"] == "unknown"
    assert said["Hardware 1: outside of the sleeve"] == "unknown"
    assert (
        _say(make_card(hardware=(Hardware(digit="thumb", sleeve_in=F(0)),) * 2))["Hardware 1: outside of the sleeve"]
        == "none"
    )


def test_without_a_thumb_hole_there_are_reaches() -> None:
    fit = replace(make_fit(), grip_holes="thumbless", thumb=None, hardware=None)
    said = _say(make_card(fit=fit, inners=(), bores=()))
    assert "Fit B: reach to middle" in said and "Fit B: thumb hole" not in said


def test_every_number_of_the_card_is_in_its_words() -> None:
    sizes = iter(F(n, 64) for n in range(65, 600, 2))  # all different, none of them whole
    hole = Hole(
        size_in=next(sizes), oval_in=next(sizes), oval_deg=F(201), forward_in=next(sizes), right_in=next(sizes),
        cut_in=next(sizes), depth_in=next(sizes), lift_in=next(sizes), lift_deg=F(203),
    )  # fmt: skip
    fit = replace(make_fit(), middle=hole, ring_span_in=next(sizes), middle_span_in=next(sizes), bridge_in=next(sizes))
    fit = replace(fit, thumb=Hole(offset_in=next(sizes)))
    bore = replace(
        BORE, circumference_in=F(1729, 64), bore_in=next(sizes), depth_in=next(sizes), depth_u_in=next(sizes),
        shim_in=next(sizes), forward_in=next(sizes), right_in=next(sizes), notch_deg=F(207),
    )  # fmt: skip
    inner = replace(
        INNER, outside_in=next(sizes), hole_in=next(sizes), oval_in=next(sizes), oval_deg=F(209), forward_in=next(sizes),
        right_in=next(sizes), heights_in=tuple(next(sizes) for _ in range(4)),
    )  # fmt: skip
    hardware = replace(
        THUMB_HARDWARE, sleeve_in=next(sizes), bore_in=next(sizes), inside_in=(next(sizes), next(sizes)), lift_in=next(sizes),
        lift_deg=F(211), oval_in=next(sizes), oval_deg=F(213), sleeve_length_in=next(sizes), lock_depth_in=next(sizes),
        inner_length_in=next(sizes), notch_deg=F(215), wide_tab_deg=F(217),
    )  # fmt: skip
    told = " ".join(
        _say(make_card(fit=fit, hardware=(hardware,) * 2, bores=(bore,), inners=(inner,), depths=())).values()
    )
    first_unused = next(sizes)
    used = [F(n, 64) for n in range(65, 600, 2) if F(n, 64) < first_unused]
    assert len(used) > 30
    for size in [*used, F(1729, 64)]:
        assert re.search(rf"(?<![\d/]){re.escape(length_words(size))}(?![\d/])", told), size
    for degrees in range(201, 219, 2):
        assert degrees == 205 or f"({degrees}°)" in told
