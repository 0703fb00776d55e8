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
from tests.conftest import not_none
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


def test_the_choice_of_a_labelled_span_stays_with_its_finger() -> None:
    for choice in read_span_pair("R 43/8 M 4 1/2", "middle").choices:
        reading = read_span_pair(choice, "middle")
        assert reading.value is None or reading.value.middle_in == Fraction(9, 2)


@pytest.mark.parametrize(
    ("kind", "text", "words"),
    [
        ("span", "4 and a half", "four and one-half"),
        ("span", "4 3/16 + 1/64", "four and thirteen sixty-fourths"),
        ("pitch", "0 1/8L", "straight up and down; one-eighth to the left, away from the palm"),
        ("pitch", "3/8F-1/8Rt", "three-eighths forward; one-eighth to the right, towards the palm"),
        ("span_pair", "R=4 3/8, M=4½", "middle four and one-half; ring four and three-eighths"),
        ("clock", "10½ o'clock", "10:30 (315°)"),
        ("proud", "sunk 1/64", "one sixty-fourth sunk"),
        ("oval", "1 x 1,03125 @ L45", "one hole, one thirty-second wider towards 10:30 (315°)"),
        ("axis_point", "4,25 over 0,5 down", "four and one-quarter over, one-half down"),
    ],
)
def test_a_plain_writing_is_read_back_in_words(kind: str, text: str, words: str) -> None:
    assert describe(kind, text, "right", "thumb", "middle").words == words


def test_zero_absent_and_unknown_are_three_things() -> None:
    states = [read_length(text, QUANTITIES["tolerance"]).state for text in ("0", "none", "unknown")]
    assert states == ["value", "absent", "unknown"]


def test_an_ambiguous_text_offers_spellings_that_read() -> None:
    for text in ("43/8", "11/2", "4 3 8", "94.9", "4,375"):
        reading = read_length(text, QUANTITIES["span"])
        assert reading.choices
        assert any(read_length(choice, QUANTITIES["span"]).state == "value" for choice in reading.choices), text


@pytest.mark.parametrize("text", ["1/4R", "3/8 1/8", "1/8 L", "1/8L 3/8R", '1/4" Reverse x 1/8" Lateral', "1/4"])
def test_an_ambiguous_pitch_offers_choices(text: str) -> None:
    assert read_pitch(text, "right", "thumb").choices


def test_under_the_palm_is_right_for_a_right_thumb_and_left_for_a_left_one() -> None:
    right, left = (
        not_none(read_pitch("3/8 reverse, 1/8 under", hand, "thumb").value).right_in for hand in ("right", "left")
    )
    assert (right, left) == (Fraction(1, 8), Fraction(-1, 8))


def test_a_direction_goes_once_round() -> None:
    assert read_clock("360 left").value == 0
    assert read_clock("360°").value == 0
    assert read_clock("12").state == "ask"  # o'clock or degrees
    assert read_clock("13").value == 13
    assert read_clock("361 left").state == read_clock("361°").state == "error"


def test_under_asks_where_it_means_nothing() -> None:
    assert read_pitch("3/8 reverse, 1/8 under", "right", "finger").state == "ask"
    assert read_pitch("3/8 reverse, 1/8 under", "", "thumb").state == "ask"


def test_a_bare_pair_asks_which_finger_where_the_field_does_not_say() -> None:
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
def test_edges_named_in_the_text_are_kept(text: str, edges: str) -> None:
    assert not_none(read_span_pair(text, "middle").value).edges == edges


@pytest.mark.parametrize("text", ["3/8 reverse", "5° reverse", "4 1/2 reverse"])
def test_a_pitch_that_is_only_unusual_warns_or_is_refused(text: str) -> None:
    reading = read_pitch(text, "right", "thumb")
    assert reading.warnings or reading.state != "value"


def test_unusual_is_saved_with_a_warning() -> None:
    for kind, text in (("span", "6 1/2"), ("hole", "15/32"), ("circumference", "26.5"), ("span", "4.3")):
        reading = read_length(text, QUANTITIES[kind])
        assert reading.state == "value"
        assert reading.warnings


def test_a_250_thousandths_reverse_setting_is_a_quarter_reverse() -> None:
    # common practice, no source
    assert not_none(read_pitch("250 thousandths reverse", "right", "thumb").value).forward_in == Fraction(-1, 4)
