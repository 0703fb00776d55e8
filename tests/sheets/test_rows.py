"""Rows read under columns and conventions: nothing is silently wrong, and what is ambiguous is asked."""

import csv
import io
from collections.abc import Callable
from dataclasses import fields, replace
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.errors import InvalidError
from app.sheets.cells import Cell, Row, Sheet
from app.sheets.columns import Columns, guess_columns
from app.sheets.conventions import CHOICES, Conventions
from app.sheets.files import read_file
from app.sheets.readings import RowReading
from app.sheets.rows import RowReader
from tests.measures.styles import STYLES, TRADE, canonical, damages, written
from tests.sheets.damaged import (
    CONVENTIONS,
    CSV,
    Answer,
    is_right,
    load_answers,
    offers,
    read_damaged,
    take_through_forms,
)
from tests.sheets.reading import read_rows
from tests.sheets.workbooks import write_ods, write_xls, write_xlsx

pytestmark = pytest.mark.once
ANSWERS = load_answers()
LEAST_READ = 0.95  # the goal: the share of readable rows that are proposed right


def count_outcomes(got: dict[int, RowReading]) -> dict[str, list[Answer]]:
    """The answers by what came of them: silently wrong, read right, asked and offered, asked without need, refused."""
    judged: dict[str, list[Answer]] = {}
    for answer in ANSWERS:
        row = got[answer.row]
        if row.outcome == "taken":
            name = "right" if answer.outcome == "taken" and is_right(row, answer) else "silently wrong"
        elif answer.outcome == "asked" and row.outcome == "asked":
            name = "asked" if offers(row, answer) else "asked, true reading not offered"
        else:
            name = "refused" if answer.outcome == row.outcome else f"{row.outcome} instead of {answer.outcome}"
        judged.setdefault(name, []).append(answer)
    return judged


def test_of_the_damaged_rows_none_is_silently_wrong(tell: Callable[[str], None]) -> None:
    judged = count_outcomes(read_damaged(read_file(CSV)))
    tell("damaged rows: " + ", ".join(f"{name} {len(rows)}" for name, rows in sorted(judged.items())))
    readable = sum(a.outcome == "taken" for a in ANSWERS)
    ambiguous = sum(a.outcome == "asked" for a in ANSWERS)
    assert len(ANSWERS) >= 200 and readable >= 100 and ambiguous >= 100
    assert judged.get("silently wrong", []) == []
    assert len(judged["right"]) >= LEAST_READ * readable
    assert len(judged["asked"]) == ambiguous
    assert len(judged["refused"]) == sum(a.outcome == "refused" for a in ANSWERS)


@pytest.mark.parametrize("write", [write_xlsx, write_ods, write_xls])
def test_the_damaged_rows_read_the_same_from_a_workbook(write: Callable[[list[list[str]]], bytes]) -> None:
    table = list(csv.reader(io.StringIO(CSV.decode("utf-8"))))
    judged = count_outcomes(read_damaged(read_file(write(table))))
    assert judged.get("silently wrong", []) == []
    assert len(judged["right"]) == sum(a.outcome == "taken" for a in ANSWERS)
    assert len(judged["asked"]) == sum(a.outcome == "asked" for a in ANSWERS)


def test_every_choice_settles_its_question_or_is_asked_about_again() -> None:
    sheet = read_file(CSV)
    columns = guess_columns(sheet)
    reader = RowReader(columns, CONVENTIONS)
    tried = settled = 0
    for row in read_rows(sheet, columns, CONVENTIONS):
        for question in row.questions:
            for choice in question.choices:
                rows = sheet.rows[row.number], sheet.rows[row.number - 1]
                answered = reader.read(row.number, *rows, {question.field: choice})
                tried += 1
                settled += question.field not in {q.field for q in answered.questions}
                if answered.outcome == "taken":
                    take_through_forms(answered)
    assert tried > 200
    assert settled > 0.95 * tried


def read_one(headings: str, values: list[str | Cell], conventions: Conventions = CONVENTIONS) -> RowReading:
    """The reading of a single row under headings parted by bars."""
    heads: Row = tuple(Cell(h, "text") for h in headings.split("|"))
    cells: Row = tuple(v if isinstance(v, Cell) else Cell(v, "text" if v else "empty") for v in values)
    sheet = Sheet("", (heads, cells))
    return next(iter(read_rows(sheet, guess_columns(sheet), conventions)))


SPAN_HEADS = "Name|Hand|Middle span|Ring span|Thumb hole|Thumb pitch|Middle hole|Ring hole"


def read_span(text: str, conventions: Conventions = CONVENTIONS) -> RowReading:
    values: list[str | Cell] = ["Ada Abendrot", "R", text, "4 1/2", "31/32", "0/0", "3/4", "3/4"]
    return read_one(SPAN_HEADS, values, conventions)


@settings(max_examples=300, deadline=None)
@given(st.sampled_from(STYLES), TRADE)
def test_a_span_in_every_habit_of_writing_is_taken_exactly_or_asked(
    style: str, size: tuple[int, tuple[int, int]]
) -> None:
    text, value = written(style, size)
    row = read_span(text, replace(CONVENTIONS, comma="decimal"))
    if row.outcome == "taken":
        assert Fraction(take_through_forms(row)["middle_in"]) == value
    else:
        questions = {q.field for q in row.questions}
        is_far = abs(value - Fraction(9, 2)) > Fraction(3, 8) or not Fraction(5, 2) <= value <= 6
        assert is_far or re_decimal(text), (text, row.questions)
        assert questions <= {"spans", "span_middle"}


def re_decimal(text: str) -> bool:
    """Whether a text is a decimal of one place, which is asked about."""
    return len(text.partition(".")[2]) == 1


@settings(max_examples=200, deadline=None)
@given(st.sampled_from(STYLES), TRADE)
def test_a_span_that_lost_or_doubled_a_sign_is_never_another_size(
    style: str, size: tuple[int, tuple[int, int]]
) -> None:
    text, value = written(style, size)
    for damaged in damages(text):
        row = read_span(damaged)
        if row.outcome == "taken":
            assert Fraction(take_through_forms(row)["middle_in"]) in {value, canonical(damaged)}, damaged


EIGHTHS = st.integers(1, 6).map(lambda n: Fraction(n, 8)) | st.integers(1, 11).map(lambda n: Fraction(n, 16))
WAYS = {"reverse": ["R", "rev", "reverse", "Rev."], "forward": ["F", "fwd", "forward"]}
SIDES = {"left": ["L", "left", "lt"], "right": ["R", "rt", "right"]}


@settings(max_examples=300, deadline=None)
@given(EIGHTHS, EIGHTHS, st.sampled_from([(w, t) for w, ts in WAYS.items() for t in ts]), st.sampled_from([(w, t) for w, ts in SIDES.items() for t in ts]), st.sampled_from(["{s} {w}", "{s}{w}", "{w} {s}", "{w}{s}"]), st.sampled_from([" ", " x ", ", ", " / ", "; "]), st.sampled_from(["outside", "inside"]))  # fmt: skip
def test_a_pitch_in_every_habit_of_writing_is_taken_exactly(
    ahead: Fraction, across: Fraction, way: tuple[str, str], side: tuple[str, str], style: str, between: str, seen: str
) -> None:
    conventions = replace(CONVENTIONS, seen_from=seen)
    forward = ahead if way[0] == "forward" else -ahead
    right = (across if side[0] == "right" else -across) * (1 if seen == "outside" else -1)
    one, two = (style.format(s=str(s), w=w) for s, w in ((ahead, way[1]), (across, side[1])))
    apart = read_one(
        "Name|Hand|Spans|Thumb hole|Thumb F/R|Thumb L/R",
        ["Ada Abendrot", "R", "4 1/2 x 4 3/8", "31/32", one, two],
        conventions,
    )
    values: list[str | Cell] = ["Ada Abendrot", "R", "4 1/2 x 4 3/8", "31/32", one + between + two]
    together = read_one("Name|Hand|Spans|Thumb hole|Thumb pitch", values, conventions)
    for row in (apart, together):
        assert row.outcome == "taken", row.questions
        found = take_through_forms(row)
        assert (Fraction(found["thumb_forward"]), Fraction(found["thumb_right"])) == (forward, right)


@given(st.lists(st.text(max_size=12), min_size=8, max_size=8), st.lists(st.text(max_size=12), min_size=8, max_size=8))
@settings(max_examples=200, deadline=None)
def test_reading_never_raises_and_what_is_taken_the_forms_take(one: list[str], two: list[str]) -> None:
    heads = tuple(Cell(h, "text") for h in SPAN_HEADS.split("|"))
    rows = [tuple(Cell(t, "text" if t else "empty") for t in texts) for texts in (one, two)]
    for row in read_rows(Sheet("", (heads, *rows)), guess_columns(Sheet("", (heads, *rows))), CONVENTIONS):
        if row.outcome == "taken" and row.fit:
            try:
                take_through_forms(row)
            except InvalidError as error:
                assert set(error.fields) <= {"name"}, error.fields  # characters that nobody sees


def test_without_conventions_every_row_that_needs_one_is_asked() -> None:
    row = read_one(
        "Name|Hand|Spans|Thumb F/R|Thumb L/R|Thumb hole|Bore depth|Bridge",
        ["Abendrot, Ada", "R", "4 1/2 x 4 3/8", "1/4", "1/8 L", "31/32", "2 1/2", "1/4"], Conventions(),
    )  # fmt: skip
    assert row.outcome == "asked"
    assert {q.field for q in row.questions} == {
        "name", "spans", "thumb_forward", "thumb_lateral", "bore_datum", "bridge_edges", "style", "span_edges",
    }  # fmt: skip


def test_sides_seen_from_inside_are_mirrored_and_the_palm_is_not() -> None:
    inside = replace(CONVENTIONS, seen_from="inside")
    heads = "Name|Hand|Spans|Thumb hole|Thumb pitch|Thumb oval"
    values: list[str | Cell] = ["Ada Abendrot", "R", "4 1/2 x 4 3/8", "31/32", "1/4 R, 1/8 L", "1/32 @ 45 right"]
    row = read_one(heads, values, inside)
    assert row.fit["thumb_pitch"] == "1/4 reverse, 1/8 right"
    assert row.fit["thumb_hole"] == "31/32 + 1/32 @ 315°"
    values[4] = "1/4 R, 1/8 under"
    assert take_through_forms(read_one(heads, values, inside))["thumb_right"] == "1/8"


@pytest.mark.parametrize(("text", "value"), [("111.1", "1111/254"), ("4 3/8 in", "35/8"), ("114,3", "9/2")])
def test_bare_numbers_of_a_metric_file_are_millimetres(text: str, value: str) -> None:
    metric = replace(CONVENTIONS, units="mm", pitch_units="mm", comma="decimal")
    values: list[str | Cell] = ["Ada Abendrot", "R", text, "112", "24.6", "0/0", "19", "19"]
    row = read_one(SPAN_HEADS, values, metric)
    assert row.outcome == "taken", row.questions
    assert take_through_forms(row)["middle_in"] == value


def test_a_fraction_in_a_metric_file_is_asked() -> None:
    (question,) = read_span("4 3/8", replace(CONVENTIONS, units="mm")).questions[:1]
    assert question.field == "span_middle" and question.choices == ("4 3/8 in",)


def test_a_bare_pitch_of_a_metric_file_offers_no_eighths() -> None:
    values: list[str | Cell] = ["Ada Abendrot", "R", "112", "114", "24.6", "6 R, 3 L", "19", "19"]
    row = read_one(SPAN_HEADS, values, replace(CONVENTIONS, units="mm", pitch_units=""))
    ahead = {c.split(",")[0] for q in row.questions if q.field == "thumb_pitch" for c in q.choices}
    assert ahead <= {"6 mm reverse", "6° reverse"}
    values = ["Ada Abendrot", "R", "112", "6 R"]
    row = read_one("Name|Hand|Span M|Thumb F/R", values, replace(CONVENTIONS, units="mm", pitch_units=""))
    asked = {q.field: q.choices for q in row.questions}
    assert asked["thumb_forward"] == ("6 mm reverse", "6° reverse")


@pytest.mark.parametrize(
    ("typed", "read"),
    [
        ("-1/8r", "1/8 reverse"), ("+1/8 f", "1/8 forward"), ("- 1/8 rev", "1/8 reverse"), ("-1/8f", ""), ("+1/8 R", ""),
    ],
)  # fmt: skip
def test_a_sign_and_a_letter_are_read_where_they_agree(typed: str, read: str) -> None:
    values: list[str | Cell] = ["Ada Abendrot", "R", "4 1/2 x 4 3/8", "31/32", typed, "0"]
    row = read_one("Name|Hand|Spans|Thumb hole|Thumb F/R|Thumb L/R", values)
    if read:
        assert (row.outcome, row.fit["thumb_pitch"]) == ("taken", f"{read}, 0")
    else:
        assert [(q.field, q.choices) for q in row.questions] == [("thumb_forward", ("1/8 forward", "1/8 reverse"))]


def test_two_spans_that_share_a_whole_number_are_offered() -> None:
    assert read_span("4 3/8-1/2").questions[0].choices[:2] == ("4 3/8", "4 1/2")
    values: list[str | Cell] = ["Ada Abendrot", "R", "4 3/8-1/2", "31/32", "0/0"]
    (question,) = read_one("Name|Hand|Spans|Thumb hole|Thumb pitch", values).questions
    assert question.choices[0] == "middle 4 3/8, ring 4 1/2"


def test_a_date_cell_is_never_a_measure() -> None:
    for day, choices in (("2026-03-08", ("3/8", "8/3")), ("1932-01-01", ("1/32", "1/1"))):
        values: list[str | Cell] = ["Ada Abendrot", "R", "4 3/8", "4 1/2", Cell(day, "date"), "0/0", "3/4", "3/4"]
        row = read_one(SPAN_HEADS, values)
        assert [(q.field, q.choices) for q in row.questions] == [("thumb_hole", choices)]


def test_words_beside_a_size_are_kept_as_a_note_of_the_fit() -> None:
    heads = tuple(Cell(h, "text") for h in SPAN_HEADS.split("|"))
    texts = ("Ada Abendrot", "R", "4 3/8 (loose)", "4 1/2", "31/32", "0/0", "3/4", "3/4")
    row = tuple(Cell(t, "text") for t in texts)
    sheet = Sheet("", (heads, row))
    (answered,) = read_rows(sheet, guess_columns(sheet), CONVENTIONS, {1: {"span_middle": "4 3/8"}})
    assert answered.outcome == "taken"
    assert answered.fit["spans"] == "middle 4 3/8, ring 4 1/2"
    assert answered.fit["hand_notes"] == "span to the middle finger, as in the sheet: 4 3/8 (loose)"


def test_where_nearly_all_thumbs_lean_away_the_one_that_does_not_is_asked() -> None:
    heads = "Name,Phone,Hand,Spans,Thumb hole,Thumb F/R,Thumb L/R"
    rows = [f"Ada {chr(65 + i % 26)}bendrot,0555{i:05},R,4 1/2 x 4 3/8,31/32,1/4 R,1/8 L" for i in range(40)]
    rows[20] = "Bram Cassel,0555900100,R,4 1/2 x 4 3/8,31/32,1/4 R,1/8 R"
    rows[21] = "Cleo Dornfeld,55590010,R,4 1/2 x 4 3/8,31/32,1/4 R,1/8 L"
    sheet = read_file("\n".join([heads, *rows]).encode())
    asked = {r.number: r.questions[0] for r in read_rows(sheet, guess_columns(sheet), CONVENTIONS) if r.questions}
    assert asked[21].field == "thumb_pitch"
    assert asked[21].choices == ("1/4 reverse, 1/8 right", "1/4 reverse, 1/8 left")
    assert asked[22].field == "phone" and asked[22].choices == ("055590010", "55590010")
    assert len(asked) == 2


def test_equal_cells_are_read_once() -> None:
    sheet = read_file(CSV)
    reader = RowReader(guess_columns(sheet), CONVENTIONS)
    for _ in range(3):
        for number, row in enumerate(sheet.rows[1:], 1):
            reader.read(number, row)
    assert len(reader._known) < 500


def test_columns_and_conventions_survive_json() -> None:
    columns = guess_columns(read_file(CSV))
    assert Columns.from_json(columns.to_json()) == columns
    assert Conventions.from_json(CONVENTIONS.to_json()) == CONVENTIONS
    assert {f.name for f in fields(Conventions)} == set(CHOICES)
    for wrong in ({"units": "ell"}, {"colour": "red"}):
        with pytest.raises(ValueError):
            Conventions.from_json(wrong)
