"""Headings that cells contradict: one proof holds both columns of every row, until a person says what they are."""

from dataclasses import replace
from fractions import Fraction

import pytest

from app.sheets.columns import guess_columns
from app.sheets.conventions import Conventions
from app.sheets.files import read_file
from app.sheets.headed import doubt_headings
from app.sheets.needs import list_needed
from app.sheets.readings import RowReading
from tests.sheets.damaged import CONVENTIONS, take_through_forms
from tests.sheets.reading import read_rows as read_all

HEADS = "Name,Hand,Span M,Span R,Thumb hole,Thumb L/R,Thumb F/R,Mid hole,Ring hole,Bridge"
UNSAID = replace(CONVENTIONS, pitch_headings="")
SWAPPED = [("1/8 R", "1/4 F"), ("1/8 R", "1/4 R"), ("1/8 L", "1/4 R"), ("1/8 R", "1/4 R"), ("1/8 R", "1/4 R")]


def write_sheet(pitches: list[tuple[str, str]], spans: list[tuple[str, str]], heads: str = HEADS) -> bytes:
    people = ["Ada", "Bram", "Cleo", "Dorn", "Edda", "Finn"]
    rows = zip(people, pitches, spans, strict=False)
    return "\n".join(
        [heads, *(f"{n} Abend,R,{m},{r},31/32,{a},{b},3/4,3/4,1/4" for n, (a, b), (m, r) in rows)]
    ).encode()


def swap(heads: str, one: str, other: str) -> str:
    return heads.replace(one, "\0").replace(other, one).replace("\0", other)


def read_rows(data: bytes, conventions: Conventions, *changes: tuple[int, str]) -> list[RowReading]:
    sheet = read_file(data)
    columns = guess_columns(sheet)
    for index, field in changes:
        columns = columns.change(index, field)
    return list(read_all(sheet, columns, conventions))


USUAL = [("4 3/8", "4 1/2")] * 5
HEADED_WRONG = write_sheet(SWAPPED, USUAL, swap(HEADS, "Thumb L/R", "Thumb F/R"))


def test_one_proof_holds_the_pair_of_columns_in_every_row() -> None:
    rows = read_rows(HEADED_WRONG, UNSAID)
    assert [[q.field for q in row.questions] for row in rows] == [["thumb_pitch"]] * 5
    sheet = read_file(HEADED_WRONG)
    needed = {n.name: n.examples for n in list_needed(sheet, doubt_headings(sheet, guess_columns(sheet)))}
    assert needed["pitch_headings"] == ("1/4 F under Thumb L/R",)


def test_either_reading_is_offered_and_taken_exactly() -> None:
    rows = read_rows(HEADED_WRONG, UNSAID)
    assert rows[1].questions[0].choices == ("1/8 reverse, 1/4 right", "1/4 reverse, 1/8 right")
    assert rows[2].questions[0].choices == (
        "1/8 forward, 1/4 right", "1/8 reverse, 1/4 right", "1/4 reverse, 1/8 left",
    )  # fmt: skip
    sheet = read_file(HEADED_WRONG)
    said = {3: {"thumb_pitch": "1/4 reverse, 1/8 left"}}
    row = list(read_all(sheet, guess_columns(sheet), UNSAID, said))[2]
    found = take_through_forms(row)
    assert row.outcome == "taken"
    assert (Fraction(found["thumb_forward"]), Fraction(found["thumb_right"])) == (Fraction(-1, 4), Fraction(-1, 8))


def test_columns_that_are_said_to_be_right_ask_of_the_contradicting_rows_alone() -> None:
    rows = read_rows(HEADED_WRONG, CONVENTIONS)
    assert [[q.field for q in row.questions] for row in rows] == [["thumb_pitch"], [], ["thumb_pitch"], [], []]


@pytest.mark.parametrize("heads", [("Thumb fwd", "Thumb left"), ("Thumb F/R", "Thumb L/R")])
def test_columns_that_are_swapped_by_hand_read_as_if_headed_so(heads: tuple[str, str]) -> None:
    """A way that the heading names goes with the heading, not with the column."""
    wrong = HEADS.replace("Thumb L/R", heads[0]).replace("Thumb F/R", heads[1])
    swapped = read_rows(write_sheet(SWAPPED, USUAL, wrong), UNSAID, (5, "thumb_lateral"), (6, "thumb_forward"))
    right = read_rows(write_sheet(SWAPPED, USUAL), UNSAID)
    assert [row.outcome for row in swapped] == ["taken"] * 5
    assert [row.fit["thumb_pitch"] for row in swapped] == [row.fit["thumb_pitch"] for row in right]


SPANS = [("4 3/8", "4 1/2"), ("4 1/4", "4 3/8"), ("4 1/2", "4 1/2"), ("4", "4 1/8"), ("4 5/8", "4 1/2")]
STRAIGHT = [("0", "0")] * 5
FINGERS_WRONG = write_sheet(STRAIGHT, SPANS, swap(HEADS, "Span M", "Span R"))


def test_spans_that_are_mostly_longer_to_the_middle_are_asked_once_and_held() -> None:
    sheet = read_file(FINGERS_WRONG)
    needed = {n.name: n.examples for n in list_needed(sheet, doubt_headings(sheet, guess_columns(sheet)))}
    assert needed["span_headings"] == ("4 1/2 under Span M, 4 3/8 under Span R",)
    rows = read_rows(FINGERS_WRONG, UNSAID)
    assert [[q.field for q in row.questions] for row in rows] == [["spans"], ["spans"], [], ["spans"], ["spans"]]
    assert rows[0].questions[0].choices == ("middle 4 1/2, ring 4 3/8", "middle 4 3/8, ring 4 1/2")
    said = {1: {"spans": "middle 4 3/8, ring 4 1/2"}}
    answered = next(read_all(sheet, guess_columns(sheet), UNSAID, said))
    found = take_through_forms(answered)
    assert (answered.outcome, found["middle_in"], found["ring_in"]) == ("taken", "35/8", "9/2")


def test_spans_are_taken_once_said_to_be_right_or_swapped_by_hand() -> None:
    said = read_rows(FINGERS_WRONG, replace(UNSAID, span_headings="as_headed"))
    by_hand = read_rows(FINGERS_WRONG, UNSAID, (2, "span_middle"), (3, "span_ring"))
    assert {row.outcome for row in said + by_hand} == {"taken"}
    assert said[0].fit["spans"] == "middle 4 1/2, ring 4 3/8"
    assert by_hand[0].fit["spans"] == "middle 4 3/8, ring 4 1/2"


@pytest.mark.parametrize(
    "spans", [SPANS, [(b, a) for a, b in SPANS[:2]], [(b, a) for a, b in SPANS[:2]] + SPANS[:1] + SPANS[3:4]]
)
def test_usual_spans_and_a_few_that_are_not_are_not_asked(spans: list[tuple[str, str]]) -> None:
    assert {row.outcome for row in read_rows(write_sheet(STRAIGHT, spans), UNSAID)} == {"taken"}
