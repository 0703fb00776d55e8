"""Every written measure of the corpus: none silently misread, every ambiguous one asks."""

from collections.abc import Callable
from fractions import Fraction
from typing import Any

import pytest

from app.measures.amounts import read_depth, read_proud
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
    value = reading.value
    if not isinstance(value, Fraction):
        value = tuple(v for name, v in vars(value).items() if name != "edges")
    assert value == expected


def test_the_corpus_is_large_enough():
    assert len(LENGTHS) + sum(len(rows) for _, rows in READERS) >= 300


@pytest.mark.parametrize(("kind", "text", "expected"), LENGTHS, ids=lambda v: str(v)[:30])
def test_lengths(kind, text, expected):
    reading = read_length(text, QUANTITIES[kind])
    expect(reading, expected)
    assert reading.text == text  # what was typed is kept


@pytest.mark.parametrize(
    ("reader", "text", "expected"),
    [(reader, text, expected) for reader, rows in READERS for text, expected in rows],
    ids=lambda v: v[:30] if isinstance(v, str) else "",
)
def test_other_measures(reader, text, expected):
    expect(reader(text), expected)


def test_zero_absent_and_unknown_are_three_things():
    states = [read_length(text, QUANTITIES["tolerance"]).state for text in ("0", "none", "unknown")]
    assert states == ["value", "absent", "unknown"]


def test_an_ambiguous_text_offers_spellings_that_read():
    for text in ("43/8", "11/2", "4 3 8", "94.9", "4,375"):
        reading = read_length(text, QUANTITIES["span"])
        assert reading.choices
        assert any(read_length(choice, QUANTITIES["span"]).state == "value" for choice in reading.choices), text


@pytest.mark.parametrize("text", ["1/4R", "3/8 1/8", "1/8 L", "1/8L 3/8R", '1/4" Reverse x 1/8" Lateral', "1/4"])
def test_an_ambiguous_pitch_offers_choices(text):
    assert read_pitch(text, "right", "thumb").choices


def test_under_the_palm_is_right_for_a_right_thumb_and_left_for_a_left_one():
    right, left = (read_pitch("3/8 reverse, 1/8 under", hand, "thumb").value.right_in for hand in ("right", "left"))
    assert (right, left) == (Fraction(1, 8), Fraction(-1, 8))


def test_under_asks_where_it_means_nothing():
    assert read_pitch("3/8 reverse, 1/8 under", "right", "finger").state == "ask"
    assert read_pitch("3/8 reverse, 1/8 under", "", "thumb").state == "ask"


def test_a_bare_pair_asks_which_finger_where_the_field_does_not_say():
    assert read_span_pair("4 1/2 x 4 7/16").state == "ask"
    assert read_span_pair("4 1/2 x 4 1/2").state == "value"


@pytest.mark.parametrize(
    ("text", "edges"),
    [
        ("4 1/2 x 4 7/16 cut", "cut"),
        ("4 1/2 x 4 7/16 with inserts", "finished"),
        ("3 3/4 x 3 7/8 sleeve to cut", "sleeve"),
    ],
)
def test_edges_named_in_the_text_are_kept(text, edges):
    assert read_span_pair(text, "middle").value.edges == edges


@pytest.mark.parametrize("text", ["3/8 reverse", "5° reverse", "4 1/2 reverse"])
def test_a_pitch_that_is_only_unusual_warns_or_is_refused(text):
    reading = read_pitch(text, "right", "thumb")
    assert reading.warnings or reading.state != "value"


def test_unusual_is_saved_with_a_warning():
    for kind, text in (("span", "6 1/2"), ("hole", "15/32"), ("circumference", "26.5"), ("span", "4.3")):
        reading = read_length(text, QUANTITIES[kind])
        assert reading.state == "value"
        assert reading.warnings


def test_a_250_thousandths_reverse_setting_is_a_quarter_reverse():
    # common practice, no source
    assert read_pitch("250 thousandths reverse", "right", "thumb").value.forward_in == Fraction(-1, 4)
