"""Names and the marks of a hand beside them. The names are invented; how marks are written: common practice, no source."""

from dataclasses import replace

import pytest

from app.sheets.cells import Cell, CellKind, Sheet
from app.sheets.columns import guess_columns
from app.sheets.people import has_hand_in_name, part_hand, read_day, read_name
from app.sheets.rows import RowReader
from tests.sheets.damaged import CONVENTIONS
from tests.sheets.test_rows import read_one

AS_WRITTEN = replace(CONVENTIONS, name_order="as_written")


@pytest.mark.parametrize(
    ("typed", "name", "hand"),
    [
        ("Lefty Loo, l", "Lefty Loo", "left"),
        ("Lefty Lewis", "Lefty Lewis", ""),
        ("Righthand Ray", "Righthand Ray", ""),
        ("Ann (Lefty) Hill", "Ann (Lefty) Hill", ""),
        ("Ann Hill (LH)", "Ann Hill", "left"),
        ("(RH) Ann Hill", "Ann Hill", "right"),
        ("Ann Hill (r)", "Ann Hill", "right"),
        ("Ann Hill, lefty", "Ann Hill", "left"),
        ("Ann Hill LH", "Ann Hill", "left"),
        ("Ann Hill - R.H.", "Ann Hill", "right"),
        ("Ann left-handed", "Ann", "left"),
        ("Ann Hill L", "Ann Hill L", ""),
    ],
)
def test_only_a_mark_behind_a_name_is_taken_off(typed: str, name: str, hand: str) -> None:
    assert (read_name(Cell(typed, "text"), AS_WRITTEN).as_read, part_hand(typed)[1]) == (name, hand)


@pytest.mark.parametrize(
    ("typed", "name"),
    [("Loo, Lefty", "Lefty Loo"), ("Hill, L.H.", "L.H. Hill"), ("Hill, L", "L Hill"), ("Hill, Ann, L", "Ann Hill")],
)
def test_initials_and_first_names_behind_a_comma_stay(typed: str, name: str) -> None:
    assert read_name(Cell(typed, "text"), CONVENTIONS).as_read == name


def test_a_name_that_may_say_the_hand_is_doubtful() -> None:
    assert [has_hand_in_name(name) for name in ("Lefty Lewis", "Ann Hill (LH)", "Ann Hill")] == [True, False, False]


def test_a_name_that_may_say_the_hand_asks_whatever_the_file_says() -> None:
    heads, said = "Name|Middle span", replace(AS_WRITTEN, hand="right")
    asked, plain, marked = (
        read_one(heads, [name, "4 3/8"], said) for name in ("Lefty Lewis", "Ann Hill", "Ann Hill (LH)")
    )
    assert ("hand" in {q.field for q in asked.questions}, asked.bowler["name"]) == (True, "Lefty Lewis")
    assert (plain.bowler["hand"], marked.bowler["hand"]) == ("right", "left")


HEADS = "Name|Hand|Spans|Thumb hole|Thumb pitch"
MEASURES = ["4 1/2 x 4 3/8", "31/32", "0/0"]
MARKS = [
    "Ida Falk (L)", "Ida Falk [left]", "Ida Falk left", "Ida Falk LEFT", "Ida Falk l/h", "Ida Falk L.H.", "Ida Falk lh",
    "Ida Falk - left", "Ida Falk - L", "Ida Falk / l", "Ida Falk; l", "Ida Falk, L", "Ida Falk southpaw",
    "Ida Falk, lefty", "Falk (L), Ida", "Falk, Ida (left-handed)", "Falk, Ida, l",
]  # fmt: skip


@pytest.mark.parametrize("typed", MARKS)
def test_a_mark_of_the_hand_behind_a_name_is_the_hand_and_no_name(typed: str) -> None:
    row = read_one(HEADS, [typed, "", *MEASURES])
    assert (row.bowler["name"], row.bowler["hand"], row.fit["hand"]) == ("Ida Falk", "left", "left")
    right = typed.lower().replace("left", "right").replace("southpaw", "righty").replace("l)", "r)")
    right = right.replace("l/h", "r/h").replace("l.h", "r.h").replace("lh", "rh").replace("- l", "- r")
    right = right.replace("/ l", "/ r").replace("; l", "; r").replace(", lefty", ", righty").replace(", l", ", r")
    assert read_one(HEADS, [right, "", *MEASURES]).bowler == {"name": "ida falk", "hand": "right"}


@pytest.mark.parametrize("typed", MARKS)
def test_a_mark_that_contradicts_the_column_is_asked_and_counts_before_the_files_hand(typed: str) -> None:
    row = read_one(HEADS, [typed, "R", *MEASURES])
    assert [(q.field, q.choices) for q in row.questions] == [("hand", ("right", "left"))]
    assert read_one(HEADS, [typed, "", *MEASURES], replace(CONVENTIONS, hand="right")).bowler["hand"] == "left"


@pytest.mark.parametrize("typed", ["Rhea Lright", "Ann-Left Hill", "R. L. Falk", "Ida L"])
def test_what_is_part_of_a_name_names_no_hand(typed: str) -> None:
    row = read_one(HEADS, [typed, "", *MEASURES], replace(CONVENTIONS, hand="right"))
    assert (row.outcome, row.bowler["name"], row.bowler["hand"]) == ("taken", typed, "right")


def test_a_last_word_that_may_be_a_hand_or_a_name_is_asked() -> None:
    row = read_one(HEADS, ["Una Left", "L", *MEASURES])
    assert [(q.field, q.choices) for q in row.questions] == [("name", ("Una", "Una Left"))]


@pytest.mark.parametrize(
    ("typed", "people"),
    [
        ("Zed & Odo Quill", ("Zed Quill", "Odo Quill")), ("A. and B. Quill", ("A. Quill", "B. Quill")),
        ("Zed Quill / Odo Quill", ("Zed Quill", "Odo Quill")), ("Zed+Odo Quill", ("Zed Quill", "Odo Quill")),
    ],
)  # fmt: skip
def test_two_people_in_one_cell_are_asked(typed: str, people: tuple[str, str]) -> None:
    row = read_one(HEADS, [typed, "R", *MEASURES])
    assert [(q.field, q.choices) for q in row.questions] == [("name", (*people, typed))]


@pytest.mark.parametrize("typed", ["Alexandra Quill", "Andy Hand", "Rolf Anderson"])
def test_a_name_with_and_inside_is_one_name(typed: str) -> None:
    assert read_one(HEADS, [typed, "R", *MEASURES]).bowler["name"] == typed


@pytest.mark.parametrize("typed", ["same as above", "ditto", "Same", "〃"])
def test_the_same_as_above_is_no_name_and_the_one_above_is_offered(typed: str) -> None:
    heads, above, row = (
        tuple(Cell(t, "text" if t else "empty") for t in texts)
        for texts in (HEADS.split("|"), ["Ida Falk", "R", *MEASURES], [typed, "L", *MEASURES])
    )
    reader = RowReader(guess_columns(Sheet("", (heads, above, row))), CONVENTIONS)
    asked = reader.read(2, row, above)
    assert [(q.field, q.choices) for q in asked.questions] == [("name", ("Ida Falk",))]
    assert reader.read(2, row, above, {"name": "Ida Falk"}).bowler["name"] == "Ida Falk"


def read_typed_day(typed: str) -> tuple[str, tuple[str, ...]]:
    part = read_day(Cell(typed, "text"), CONVENTIONS)
    return part.as_read, part.choices


def test_days_are_read_with_the_years_of_posix() -> None:
    """Years of two figures: POSIX.1-2017, strptime %y, 69 to 99 are of 1900 and 00 to 68 of 2000."""
    assert read_typed_day("8/3/69") == ("1969-03-08", ())
    assert read_typed_day("8/3/40") == ("2040-03-08", ())
    assert read_typed_day("8/3/41") == ("2041-03-08", ())
    assert read_typed_day("8/3/68") == ("2068-03-08", ())


def test_a_count_of_days_is_asked_with_its_day() -> None:
    """Counts of the 1900 date system, ECMA-376 part 1, 18.17.4.1: 25569 is 1 January 1970; the others by its rule."""
    days = {"25569": "1970-01-01", "20000": "1954-10-03", "36526": "2000-01-01", "45000.0": "2023-03-15"}
    assert {text: read_typed_day(text) for text in days} == {text: ("", (day,)) for text, day in days.items()}


@pytest.mark.parametrize("kind", ["text", "date"])
def test_a_fit_of_long_ago_is_asked(kind: CellKind) -> None:
    part = read_day(Cell("1924-03-08", kind), CONVENTIONS)
    assert (part.state, part.choices) == ("ask", ("2024-03-08", "1924-03-08"))
    assert read_day(Cell("1950-01-01", kind), CONVENTIONS).as_read == "1950-01-01"
