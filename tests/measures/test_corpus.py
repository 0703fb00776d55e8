"""Every written measure of the corpus: none silently misread, every ambiguous one asks."""

import math
from collections.abc import Callable
from fractions import Fraction
from typing import Any

import pytest

from app.measures.amounts import read_depth, read_proud, read_weight
from app.measures.describe import describe
from app.measures.lengths import read_length
from app.measures.ovals import read_clock, read_oval
from app.measures.pairs import read_axis_point, read_span_pair
from app.measures.pitches import read_pitch
from app.measures.reading import QUANTITIES, Reading
from tests.measures import corpus

READERS: list[tuple[Callable[[str], Reading[Any]], list[tuple[str, Any]]]] = [
    (lambda text: read_pitch(text, "right", "thumb"), corpus.PITCHES),
    (lambda text: read_span_pair(text, "middle"), corpus.SPAN_PAIRS),
    (read_oval, corpus.OVALS),
    (read_clock, corpus.CLOCKS),
    (read_axis_point, corpus.AXIS_POINTS),
    (read_depth, corpus.DEPTHS),
    (read_proud, corpus.HEIGHTS),
    (read_weight, corpus.WEIGHTS),
]
LENGTHS = [*corpus.SPELLED, *corpus.LENGTHS]
STATES = {corpus.ASK, corpus.ERROR, corpus.ABSENT, corpus.UNKNOWN}


def expect(reading: Reading[Any], expected: Any) -> None:
    if expected in STATES if isinstance(expected, str) else False:
        assert reading.state == expected, reading
        if expected in {corpus.ASK, corpus.ERROR}:
            assert reading.message
        return
    assert reading.state == "value", reading
    assert _numbers(reading) == expected


def test_the_corpus_is_large_enough() -> None:
    rows: set[tuple[object, str]] = {(i, text) for i, (_, rows) in enumerate(READERS) for text, _ in rows}
    rows |= {(kind, text) for kind, text, _ in LENGTHS} | {("degrees", text) for text, _ in corpus.DEGREES}
    assert len(rows) >= 1_200


@pytest.mark.parametrize(("kind", "text", "expected"), LENGTHS, ids=lambda v: str(v)[:30])
def test_lengths(kind: str, text: str, expected: Fraction | str) -> None:
    reading = read_length(text, QUANTITIES[kind])
    expect(reading, expected)
    assert reading.text == text  # what was typed is kept


@pytest.mark.parametrize(
    ("reader", "text", "expected"),
    [(reader, text, expected) for reader, rows in READERS for text, expected in rows],
    ids=lambda v: v[:30] if isinstance(v, str) else "",
)
def test_other_measures(
    reader: Callable[[str], Reading[object]], text: str, expected: Fraction | str | tuple[Fraction | str, ...]
) -> None:
    expect(reader(text), expected)


def test_no_row_is_silently_read_as_something_else(tell: Callable[[str], None]) -> None:
    """Exactly as meant, or a question, or a refusal: a value that was not meant is the one thing that may not be."""
    rows = [(read_length(text, QUANTITIES[kind]), meant) for kind, text, meant in LENGTHS]
    rows += [(reader(text), meant) for reader, table in READERS for text, meant in table]
    misread = [r for r, meant in rows if r.state == "value" and _numbers(r) != meant]
    refused = [r for r, meant in rows if r.state != "value" and meant not in STATES]
    tell(f"{len(rows)} written measures: {len(misread)} misread, {len(refused)} plain ones not read")
    assert misread == refused == []


def _numbers(reading: Reading[Any]) -> Any:
    value = reading.value
    if isinstance(value, Fraction):
        return value
    return tuple(held for name, held in vars(value).items() if name != "edges")


@pytest.mark.parametrize(("text", "degrees"), corpus.DEGREES)
def test_pitches_in_degrees(text: str, degrees: tuple[float, float]) -> None:
    # an axis tilted by t off the line to the centre misses the centre by R sin t; R of a 27 in ball is 27 / 2 pi
    reading = read_pitch(text, "right", "thumb")
    meant = [27 / (2 * math.pi) * math.sin(math.radians(turn)) for turn in degrees]
    assert [float(x) for x in _numbers(reading)] == pytest.approx(meant, abs=1e-9)
    assert not [w for w in reading.warnings if w.startswith("0°")] or 0 in degrees


@pytest.mark.parametrize(
    ("kind", "text"),
    [
        ("span", "43/8"), ("span", "4-.375"), ("span", "4 7/16 full"), ("span", "4 3/8++"), ("span", "106 mil"), ("span", "4,3/8"), ("hole", "17/16"),
        ("span_pair", "R 43/8 M 4 1/2"), ("span_pair", "4,5"), ("span_pair", "4 1/2- 4 7/16"), ("span_pair", "M 4 1/2 - R 4 7/16"), ("span_pair", "4 7/16 x 4 3/8 full"),
        ("clock", "10.30"), ("clock", "7.5"), ("clock", "10,5"), ("clock", "away from the palm"), ("clock", "-45 right"), ("oval", "1 x 1 1/32 @ 10.30"), ("oval", "17/16 x 1 1/8 @ 45"),
        ("proud", "1/64 shy"), ("proud", "1/64-"), ("written_depth", "23/4 collar"), ("written_depth", "collar 70"), ("axis_point", "5,1 up"), ("axis_point", "5 over -1/2"),
        ("pitch", "0,1 rev"), ("pitch", "0 1/8R"), ("pitch", "1/4 rev 3 mil left"),
    ],
)  # fmt: skip
def test_what_is_offered_can_be_tapped_and_keeps_the_rest_of_the_text(kind: str, text: str) -> None:
    asked = describe(kind, text, "right", "thumb", "middle").reading
    assert asked.state == "ask"
    offered = [
        describe(kind, choice, "right", "thumb", "middle").reading for choice in asked.choices if "…" not in choice
    ]
    read = [_numbers(r) for r in offered if r.state == "value"]
    assert len(set(read)) == len(read) > 0
    for part in ("collar", "@"):
        assert all(part in choice for choice in asked.choices if part in text)
