"""A hole that is not there is told from one that is straight, crossed out or unknown."""

from dataclasses import replace

import pytest

from app.sheets.readings import RowReading
from tests.sheets.damaged import CONVENTIONS, take_through_forms
from tests.sheets.test_rows import read_one

HEADS = "Name|Hand|Middle span|Ring span|Thumb hole|Thumb F/R|Thumb L/R|Middle hole|Ring hole|Holes"
THREE = replace(CONVENTIONS, grip_holes="three")  # “where the sheet does not say”


def read_thumb(hole: str, ahead: str, across: str, holes: str = "") -> RowReading:
    return read_one(HEADS, ["Ada Abend", "R", "4 3/8", "4 1/2", hole, ahead, across, "3/4", "3/4", holes], THREE)


@pytest.mark.parametrize("cells", [("none", "none", "none"), ("None", "-", "-"), ("none", "", ""), ("no", "no", "no")])
def test_a_thumb_of_which_every_cell_says_none_is_no_hole(cells: tuple[str, str, str]) -> None:
    row = read_thumb(*cells)
    assert (row.outcome, row.fit["grip_holes"]) == ("taken", "thumbless")
    assert take_through_forms(row)["thumb_hole"] == "absent"
    assert not {"thumb_hole", "thumb_pitch"} & set(row.fit)


@pytest.mark.parametrize("cells", [("-", "-", "-"), ("n/a", "n/a", "n/a"), ("none", "1/4 R", "0")])
def test_a_thumb_that_is_crossed_out_or_none_with_a_pitch_is_asked(cells: tuple[str, str, str]) -> None:
    asked = {q.field: q.choices for q in read_thumb(*cells).questions}
    assert asked["grip_holes"] == ("thumbless", "three")


@pytest.mark.parametrize("cells", [("31/32", "none", "1/8 L"), ("31/32", "no", "1/8 L")])
def test_no_pitch_beside_a_sized_hole_is_straight_or_unknown(cells: tuple[str, str, str]) -> None:
    assert [(q.field, q.choices) for q in read_thumb(*cells).questions] == [("thumb_forward", ("0", "unknown"))]
