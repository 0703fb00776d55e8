"""Names and the marks of a hand beside them. The names are invented; how marks are written: common practice, no source."""

from dataclasses import replace

import pytest

from app.sheets.cells import Cell
from app.sheets.people import find_mark_of_hand, has_hand_in_name, read_name
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
        ("Ann Lefty", "Ann Lefty", ""),
    ],
)
def test_only_a_mark_behind_a_name_is_taken_off(typed: str, name: str, hand: str) -> None:
    assert (read_name(Cell(typed, "text"), AS_WRITTEN).as_read, find_mark_of_hand(typed)) == (name, hand)


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
