import re
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.measures.pairs import read_axis_point, read_span_pair
from tests.conftest import not_none
from tests.measures.styles import HALVES_TO_64THS, canonical, damages, written

_BETWEEN = [" x ", "x", " by ", " & ", "; ", " / ", "/", " - ", "-", " "]
_SPAN_STYLES = ["{w} {n}/{d}", "{w}-{n}/{d}", "{point}", "{comma}", '{w} {n}/{d}"', "{w}.{n}/{d}"]
_SPAN = st.tuples(st.integers(3, 5), HALVES_TO_64THS)


@settings(max_examples=300, deadline=None)
@given(st.sampled_from(_SPAN_STYLES), st.sampled_from(_BETWEEN), _SPAN, _SPAN)
def test_two_spans_in_any_style_read_back_and_no_damage_changes_them_silently(
    style: str, between: str, one: tuple[int, tuple[int, int]], two: tuple[int, tuple[int, int]]
) -> None:
    (a, first), (b, second) = written(style, one), written(style, two)
    reading = read_span_pair(a + between + b, "middle")
    assert (not_none(reading.value).middle_in, not_none(reading.value).ring_in) == (first, second), (
        a + between + b,
        reading,
    )
    for damaged in damages(a + between + b):
        seen = read_span_pair(damaged, "middle")
        if seen.state == "value" and (not_none(seen.value).middle_in, not_none(seen.value).ring_in) != (first, second):
            marks = re.finditer(r" *(?:[x;&/-]|by|) *", damaged)
            halves = [(canonical(damaged[: m.start()]), canonical(damaged[m.end() :])) for m in marks if m[0]]
            assert (not_none(seen.value).middle_in, not_none(seen.value).ring_in) in halves, (
                a + between + b,
                damaged,
                seen,
            )


def test_the_choice_of_a_labelled_span_stays_with_its_finger() -> None:
    for choice in read_span_pair("R 43/8 M 4 1/2", "middle").choices:
        reading = read_span_pair(choice, "middle")
        assert reading.value is None or reading.value.middle_in == Fraction(9, 2)


def test_both_meanings_of_a_comma_keep_the_way_a_point_lies() -> None:
    for way in ("up", "down"):
        assert f"5 over 1 {way}" in read_axis_point(f"5,1 {way}").choices


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


@pytest.mark.parametrize(
    ("text", "holes", "expected"),
    [
        ("4 1/2", "thumb_middle", (Fraction(9, 2), None, "")), ("4 1/2 sleeve to cut", "thumb_ring", (None, Fraction(9, 2), "sleeve")),
        ("ring 4.5", "thumb_ring", (None, Fraction(9, 2), "")), ("2 x 2 1/8", "thumbless", (Fraction(2), Fraction(17, 8), "")),
        ("51 x 54 mm", "thumbless", (Fraction(255, 127), Fraction(270, 127), "")), ("1 15/16 - 2 1/8 finished", "thumbless", (Fraction(31, 16), Fraction(17, 8), "finished")),
    ],
)  # fmt: skip
def test_spans_are_read_as_the_holes_of_the_grip_have_them(
    text: str, holes: str, expected: tuple[Fraction | None, Fraction | None, str]
) -> None:
    read = read_span_pair(text, "middle", holes).value
    assert read is not None
    assert (read.middle_in, read.ring_in, read.edges) == expected


@pytest.mark.parametrize(
    ("text", "holes", "choices"),
    [
        ("4 x 4 1/8", "thumb_middle", ("4", "4 1/8")), ("middle 4, ring 4 1/8", "thumb_ring", ("4", "4 1/8")),
        ("43/8", "thumb_ring", ("4 3/8", "5 3/8")), ("2", "thumbless", ("both 2", "middle 2, ring …")),
    ],
)  # fmt: skip
def test_spans_of_other_holes_are_asked_about(text: str, holes: str, choices: tuple[str, ...]) -> None:
    asked = read_span_pair(text, "middle", holes)
    assert (asked.state, asked.choices) == ("ask", choices)


def test_unusual_spans_are_read_behind_a_cross_and_not_behind_a_mark_of_two_meanings() -> None:
    crossed = read_span_pair("7.5 x 4.5", "middle")
    assert (crossed.given.middle_in, crossed.given.ring_in, len(crossed.warnings)) == (
        Fraction(15, 2),
        Fraction(9, 2),
        2,
    )
    assert read_span_pair("7.5/4.5", "middle").state == "error"
    usual = read_span_pair("4.5/4.4", "middle").given
    assert (usual.middle_in, usual.ring_in) == (Fraction(9, 2), Fraction(22, 5))


@pytest.mark.parametrize(
    ("text", "apart"),
    [
        ("middle 4, ring 4 3/8", None),  # just 3/8 is not unusual yet
        ("middle 4 3/8, ring 4", None),
        ("middle 4, ring 4 25/64", "25/64"),
        ("middle 4 25/64, ring 4", "25/64"),
    ],
)
def test_spans_more_than_3_8_apart_are_unusual_whichever_is_longer(text: str, apart: str | None) -> None:
    told = (f"Unusual: the two spans differ by {apart} in.",) if apart else ()
    assert read_span_pair(text).warnings == told
