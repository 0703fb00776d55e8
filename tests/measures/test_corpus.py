"""Every written measure of the corpus: none silently misread, every ambiguous one asks."""

import math
from collections.abc import Callable
from fractions import Fraction
from typing import Any

import pytest

from app.measures.amounts import read_depth, read_proud, read_weight
from app.measures.axis_points import read_sided_axis_point
from app.measures.degrees import read_degrees
from app.measures.describe import describe
from app.measures.lengths import read_length
from app.measures.ounces import read_ball_ounces, read_imbalance, read_ounces
from app.measures.ovals import read_clock, read_oval
from app.measures.pairs import read_axis_point, read_span_pair
from app.measures.pitches import read_pitch
from app.measures.reading import LAYOUT_ANGLE, MASS_DOUBT, QUANTITIES, SCALE_READING, TOP_WEIGHT, Reading
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
    (lambda text: read_ounces(text, TOP_WEIGHT), corpus.TOP_WEIGHTS),
    (lambda text: read_ounces(text, SCALE_READING), corpus.SCALE_SHOWN),
    (lambda text: read_ounces(text, MASS_DOUBT), corpus.MASS_DOUBTS),
    (read_ball_ounces, corpus.BALL_OUNCES),
    (lambda text: read_imbalance(text, "right"), corpus.HEAVY_RIGHT),
    (lambda text: read_imbalance(text, "finger"), corpus.HEAVY_FINGER),
    (lambda text: read_imbalance(text, "top"), corpus.HEAVY_TOP),
    (lambda text: read_degrees(text, LAYOUT_ANGLE), corpus.LAYOUT_ANGLES),
    (read_sided_axis_point, corpus.SIDED_POINTS),
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


@pytest.mark.parametrize(
    ("kind", "text", "choices"),
    [
        ("span", "4 3/8- shy", ["4 23/64", "4 11/32", "4 3/8"]), ("span", "4 1/2++", ["4 33/64", "4 17/32", "4 1/2"]),
        ("span", "43/8", ["4 3/8", "5 3/8"]), ("span", "11/2", ["1 1/2", "5 1/2"]), ("hole", "33/32", ["3 3/32", "1 1/32"]),
        ("span", "3-8", ["3/8", "3 8/16"]), ("span", "4-3", ["4/3", "4 3/8", "4 3/16"]), ("span", "4-9", ["4/9", "4 9/16"]), ("span", "8-8", ["8/8", "8 8/16"]),
        ("span", "4-16", ["4/16"]), ("span", "2026-03-08", []), ("span", "4 3 8", ["4 3/8"]), ("span", "4,375", ["4.375", "4375"]),
        ("span", "94.9", ["94.9 mm", "94.9 in"]), ("hole", "24", ["24 mm", "24/64", "24 in"]), ("hole", "875", ["875 thou", "875 in"]),
        ("hole", "63", ["63/64", "63 in"]), ("bridge", "3", ["3 mm", "3/64", "3 in"]), ("depth", "70", ["70 mm", "70 in"]),
        ("span", "4 9/8", ["5 1/8"]), ("span", "4 8/8", ["5"]), ("span", "4 1/2 - 1/2", ["5", "4"]), ("span", "4-.375", ["4 3/8", "3 5/8"]),
        ("span", "4-", ["3 63/64", "4"]), ("tolerance", "1/32 light", ["1/64", "1/32"]), ("bridge", "3/64 heavy", ["1/16", "3/64"]),
        ("span", "106 mil", ["106 thou", "106 mm"]), ("bridge", "1/4-3/8", ["5/8"]), ("span", "1'", ['1"']),
        ("pitch", "1/4R", ["1/4 reverse, 0", "0, 1/4 right"]), ("pitch", "1/8 L", ["0, 1/8 left"]), ("pitch", "3/8 1/8", ["3/8 forward", "3/8 reverse"]),
        ("pitch", "1/4", ["1/4 forward, 0", "1/4 reverse, 0", "0, 1/4 left", "0, 1/4 right"]), ("pitch", "1/4 rev 1/8 lateral", ["1/8 left", "1/8 right"]),
        ("pitch", "1/8L 3/8R", ["3/8 reverse, 1/8 left", "1/8 reverse, 3/8 right"]), ("pitch", "1/8 Rt 3/8R", ["3/8 reverse, 1/8 right", "1/8 reverse, 3/8 right"]),
        ("pitch", "1/8R 1/4 rev", ["1/4 reverse, 1/8 right", "1/8 reverse, 1/4 right"]), ("pitch", "-1/4", ["1/4 forward", "1/4 reverse"]), ("pitch", "-1/4 1/8", []),
        ("pitch", "250", ["250 thou", "250 in"]), ("pitch", "0,1 rev", ["0.1 reverse, 0 left", "1 reverse, 0 left"]), ("pitch", "0,1 F", ["0.1 forward, 0 left", "1 forward, 0 left"]),
        ("pitch", "lateral 1/8", ["0, 1/8 left", "0, 1/8 right"]), ("pitch", "1/4 rev 3 mil left", ["1/4 rev 3 thou left", "1/4 rev 3 mm left"]),
        ("span_pair", "4,5", ["both 4 1/2", "middle 4 1/2, ring …", "4 x 5"]), ("span_pair", "111 x 112", ["111 mm x 112", "111 in x 112"]),
        ("span_pair", "4-5", ["4/5", "4 5/8", "4 5/16", "4 x 5"]), ("span_pair", "4,54,4", ["4.54 x 4", "4 x 54.4 mm", "4 x 54.4 in"]), ("span_pair", "4,5/4", ["4 x 5/4", "middle 4 1/2, ring 4"]),
        ("span_pair", "M 4 1/2 - R 4 7/16", ["m 4 1/2, r 4 7/16", "m 4 1/2 shy, r 4 7/16"]), ("span_pair", "4 1/2 - 1/16", ["both 4 7/16", "middle 4 7/16, ring …"]),
        ("span_pair", "4 1/2 x 4 7/16 full", ["4 1/2 x 4 7/16 heavy", "4 1/2 x 4 7/16 finished"]), ("span_pair", "4 1/2F x 4 7/16F", ["4 1/2 heavy x 4 7/16 heavy", "4 1/2 x 4 7/16 finished"]),
        ("span_pair", "full span: 4 1/2 x 4 7/16", ["4 1/2 x 4 7/16", "4 1/2 x 4 7/16 finished"]), ("span_pair", "4 5", ["4 x 5"]),
        ("oval", "1 + 1/16 @ 3", ["1 + 1/16 @ 3 o'clock", "1 + 1/16 @ 3°"]), ("oval", "1 x 1 1/32 @ 7.5", ["1 x 1 1/32 @ 7:30", "1 x 1 1/32 @ 7.5°"]),
        ("oval", "15/16-1/16", ["15/16 + 1/16 @ 12:00", "7/8"]), ("oval", "5/8 + 11/16 @ 45", ["5/8 x 11/16 @ 45"]), ("oval", "1 x 1 1/32", ["1 x 1 1/32 @ 12:00", "1 x 1 1/32 @ 45 left", "1 x 1 1/32 @ 45 right"]),
        ("clock", "6", ["6 o'clock", "6°"]), ("clock", "12", ["12 o'clock", "12°"]), ("clock", "10.15", ["10:15", "10.15°"]), ("clock", "7½", ["7:30", "7 1/2°"]), ("clock", "1.5", ["1:30", "1.5°"]),
        ("clock", "10.25 o'clock", ["10:25", "10:15"]), ("clock", "12.75", ["12:45", "12.75°"]), ("clock", "palm", ["3:00", "9:00", "6:00"]),
        ("axis_point", "5", ["5 over 0 up"]), ("axis_point", "5,1", ["5.1 over 0 up", "5 over 1 up", "5 over 1 down"]), ("axis_point", "5 1/2 up", ["5 over 1/2 up", "5 1/2 over 0 up"]),
        ("axis_point", "4 1/2 x 1/4", ["4 1/2 over 1/4 up", "4 1/2 over 1/4 down"]), ("written_depth", "23/4 collar", ["2 3/4 collar", "5 3/4 collar"]), ("written_depth", "collar 70", ["collar 70 mm", "collar 70 in"]),
        ("written_depth", "2 3/4 - high edge", ["2 3/4 high edge", "2 3/4 shy high edge"]), ("proud", "-1/32 proud", ["1/32 proud", "1/32 sunk"]), ("proud", "1/32 - 1/64 proud", ["3/64 proud", "1/64 proud"]),
    ],
)  # fmt: skip
def test_each_question_offers_what_the_text_may_mean(kind: str, text: str, choices: list[str]) -> None:
    # common practice of the trade, no source: each taken by hand from what the text may stand for
    reading = describe(kind, text, "right", "thumb", "middle").reading
    assert (reading.state, list(reading.choices)) == ("ask", choices)


@pytest.mark.parametrize(
    ("text", "choices"),
    [
        ("15 3", ["15 lb 3 oz", "15.3 lb"]), ("15-16", ["15 lb", "15 lb 1 oz"]), ("14 lb 20 oz", ["14 lb", "14 lb 2 oz"]), ("15.10", ["15.10 lb", "15 lb 10 oz"]),
        ("6.8 kg", ["15 lb 0 oz"]), ("6 kg", ["13 lb 4 oz"]), ("15 lb 1/2", ["15 1/2 lb", "15 lb 1/2 oz"]),
    ],
)  # fmt: skip
def test_each_question_of_a_weight_offers_what_it_may_mean(text: str, choices: list[str]) -> None:
    # by hand: 6.8 kg ÷ 0.45359237 are 14 lb 15.86 oz, 6 kg are 13 lb 3.64 oz
    assert (read_weight(text).state, list(read_weight(text).choices)) == ("ask", choices)


@pytest.mark.parametrize(("text", "state"), [("6", "value"), ("5.99 lb", "error"), ("16", "value"), ("16 lb 1 oz", "error"), ("15 lb 15 oz", "value"), ("15.16 lb", "value")])  # fmt: skip
def test_a_ball_weighs_6_to_16_lb(text: str, state: str) -> None:
    assert read_weight(text).state == state


@pytest.mark.parametrize("kind", QUANTITIES)
def test_a_length_is_read_up_to_its_limits_and_warns_beyond_what_is_usual(kind: str) -> None:
    asked, step = QUANTITIES[kind], Fraction(1, 640)

    def read(value: Fraction) -> Reading[Fraction]:
        if kind == "proud":
            return read_length(f"{'+' if value >= 0 else '-'}{float(abs(value)):.9f} in", asked)
        return read_length(f"{float(value):.9f} in", asked)

    for value, is_possible in (
        (asked.low, True),
        (asked.high, True),
        (asked.low - step, False),
        (asked.high + step, False),
    ):
        assert (read(value).state == "value") is is_possible, value
    for value, is_usual in (
        (asked.usual_low, True),
        (asked.usual_high, True),
        (asked.usual_low - step, False),
        (asked.usual_high + step, False),
    ):
        if asked.low <= value <= asked.high:
            assert any(w.startswith("Unusual") for w in read(value).warnings) is not is_usual, value


@pytest.mark.parametrize(
    ("kind", "text", "warnings"),
    [
        ("span", "4 3/8 heavy", ["“heavy” was read as 1/64 over: 4 25/64."]), ("span", "4 3/8-", ["“-” was read as 1/64 under: 4 23/64."]),
        ("bridge", "1/16 heavy", ["“heavy” was read as 1/64 over: 5/64.", "Unusual: a bridge is mostly 1/8 to 1/2 in."]),
        ("span", "4 1/3", ["1/3: the trade writes halves to 64ths.", "Not on a 64th: 4 21/64 + 0.005."]), ("span", "4.3 in", ["Not on a 64th: 4 19/64 + 0.003."]),
        ("span", "111 mm", []), ("span", "11.1 cm", []), ("span", "4,5", ["The comma was read as a decimal point."]), ("span", "4 3/8 + 1/64", []), ("span", "4 7/64", []),
        ("span_pair", "4 1/2 x 4 1/8", []), ("span_pair", "4 1/2 x 4 7/64", ["Unusual: the two spans differ by 25/64 in."]),
        ("oval", "1 x 1 1/32 @ 45 left", []), ("oval", "1 + 1/4 @ 45", []), ("oval", "1 + 17/64 @ 45", ["Unusual: the oval is 17/64 in wider than the bit."]),
        ("oval", "1 1/8 x 1 @ 45", ["Read as a 1 hole made 1 1/8 wide."]),
        ("pitch", "3° reverse, 0", ["3° on this ball is a pitch of 0.2249 in."]), ("pitch", "1/4 reverse", ["Only forward or reverse was given: left and right were read as straight."]),
    ],
)  # fmt: skip
def test_what_is_read_with_a_warning_is_told_with_its_value(kind: str, text: str, warnings: list[str]) -> None:
    reading = describe(kind, text, "right", "thumb", "middle").reading
    assert (reading.state, list(reading.warnings)) == ("value", warnings)


@pytest.mark.parametrize(
    ("kind", "text", "state"),
    [
        ("pitch", "19.9° reverse, 0", "value"), ("pitch", "13° reverse, 0", "value"), ("pitch", "20° reverse, 0", "error"), ("pitch", "0° reverse, 0", "value"),
        ("clock", "12:59", "value"), ("clock", "13:00", "error"), ("clock", "1:00", "value"), ("clock", "0:59", "error"), ("clock", "10:59", "value"), ("clock", "10:60", "error"),
        ("oval", "1 + 3/4 @ 45", "value"), ("oval", "1 + 49/64 @ 45", "error"), ("axis_point", "9 over 4 up", "value"), ("axis_point", "9.1 in over 4 up", "error"), ("axis_point", "9 over 4.1 in up", "error"),
        ("span", "4 3/8 + 1/8", "value"), ("span", "4 3/8 + 9/64", "ask"), ("span", "4 3/8 + 0.008", "value"), ("span", "4 - 0.008", "value"), ("span", "4 - 0.009", "ask"), ("span", "1 1/2 - 3/16", "ask"),
        ("hole", "64", "error"), ("depth", "6400", "error"), ("hole", "three eighth", "value"), ("hole", "two eighth", "error"), ("hole", "nine eighth", "error"), ("hole", "three half", "error"),
        ("hole", "eighths", "error"), ("hole", "three eighths", "value"), ("hole", "four eighths", "value"), ("hole", "an eighth", "error"), ("hole", "1/2 + 1/16", "value"), ("hole", "1/2 + 5/64", "ask"), ("bridge", "an eighth", "value"), ("hole", "one half", "value"),
        ("proud", "flush", "value"), ("proud", "0", "value"), ("proud", "-0", "value"), ("proud", "1/64", "ask"),
    ],
)  # fmt: skip
def test_a_limit_belongs_to_what_is_read(kind: str, text: str, state: str) -> None:
    assert describe(kind, text, "right", "thumb", "middle").reading.state == state


def test_the_choice_of_a_labelled_span_stays_with_its_finger() -> None:
    for choice in read_span_pair("R 43/8 M 4 1/2", "middle").choices:
        reading = read_span_pair(choice, "middle")
        assert reading.value is None or reading.value.middle_in == Fraction(9, 2)
