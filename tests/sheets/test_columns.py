"""Columns are guessed from headings in the trade's own abbreviations, and from contents; needs are listed, not assumed."""

import pytest

from app.sheets.cells import Sheet
from app.sheets.columns import find_heading_rows, guess_columns
from app.sheets.files import read_file
from app.sheets.headings import read_heading
from app.sheets.needs import list_needed
from tests.sheets.damaged import CSV

pytestmark = pytest.mark.once


def guess(text: str) -> list[tuple[str, str]]:
    return [(c.field, c.sure) for c in guess_columns(read_file(text.encode())).columns]


def fields(text: str) -> list[str]:
    return [name for name, _ in guess(text)]


@pytest.mark.parametrize(
    ("heading", "hole", "means", "says"),
    [  # abbreviations seen in the trade: common practice, no source
        ("MF Span", "middle", "span", ""), ("Ring Finger Span", "ring", "span", ""), ("R Span", "ring", "span", ""),
        ("T F/R", "thumb", "vertical", ""), ("Thumb L/R", "thumb", "lateral", ""), ("ThRev", "thumb", "vertical", "reverse"),
        ("Thumb_Fwd", "thumb", "vertical", "forward"), ("MLat", "middle", "lateral", ""), ("Th. Size", "thumb", "hole", ""),
        ("THUMB HOLE SIZE", "thumb", "hole", ""), ("Mid Insert", "middle", "insert", ""), ("RF Pitch", "ring", "pitch", ""),
        ("Bridge", "", "bridge", ""), ("Phone #", "", "phone", ""), ("Cell", "", "phone", ""), ("R/L", "", "hand", ""),
        ("RH/LH", "", "hand", ""), ("Date Drilled", "", "fit_date", ""), ("Serial No.", "", "ball_serial", ""),
        ("Ball Weight", "", "ball_weight", ""), ("PAP", "", "axis_point", ""), ("Last Name", "", "last_name", ""),
        ("Bowler", "", "name", ""), ("Comments", "", "notes", ""), ("Colour of socks", "", "", ""),
    ],
)  # fmt: skip
def test_headings_are_read(heading: str, hole: str, means: str, says: str) -> None:
    read = read_heading(heading)
    assert (read.hole, read.means, read.says) == (hole, means, says)


def test_a_heading_over_several_columns_holds_for_all_of_them() -> None:
    text = (
        "Customer,Phone #,R/L,Spans,,Thumb,,,Middle,,\n,,,M,R,Size,F/R,L/R,Size,F/R,Lat\n"
        "Ada Abendrot,5550100,R,4 3/8,4 1/2,31/32,1/4R,1/8R,3/4,0,1/8R\n"
    )
    assert fields(text) == [
        "name", "phone", "hand", "span_middle", "span_ring", "thumb_hole", "thumb_forward", "thumb_lateral",
        "middle_hole", "middle_forward", "middle_lateral",
    ]  # fmt: skip


def test_equal_headings_take_the_hole_before_them_and_are_told() -> None:
    text = "Bowler,Thumb,Pitch,Middle,Pitch,Ring,Pitch\n" + "Ada Abendrot,31/32,1/4R 1/8L,4 3/8,0 x 1/8 R,4 1/2,0\n" * 3
    assert fields(text) == [
        "name",
        "thumb_hole",
        "thumb_pitch",
        "span_middle",
        "middle_pitch",
        "span_ring",
        "ring_pitch",
    ]
    assert guess_columns(read_file(text.encode())).doubts == ("“pitch” stands over 3 columns.",)


def test_headings_stand_under_a_title_and_blank_rows() -> None:
    sheet = read_file(b"\n\nFits of our bowlers 2024\n\nName,Hand,Span\nAda Abendrot,R,4 1/2 x 4 3/8\n")
    assert find_heading_rows(sheet.rows) == (4,)
    assert guess_columns(sheet).first_row == 5


def test_without_headings_contents_alone_are_a_guess() -> None:
    text = "Ada Abendrot;5550100200;R;4 3/8 x 4 1/2\nBram Cassel;5550100201;L;4 1/4 x 4 1/2\n"
    assert guess(text) == [("name", "guess"), ("phone", "guess"), ("hand", "guess"), ("spans", "guess")]


def test_contents_that_do_not_look_like_their_heading_make_it_a_guess() -> None:
    assert guess("Name,Middle span\nAda Abendrot,blue\nBram Cassel,red\n")[1] == ("span_middle", "guess")


def test_of_two_columns_that_look_alike_one_is_left_out() -> None:
    text = "Name,Bridge,Bridge\nAda Abendrot,1/4,1/4\n"
    assert guess(text)[1:] == [("bridge", "guess"), ("", "none")]


def test_forward_and_reverse_may_have_a_column_each() -> None:
    text = "Name,Th Fwd,Th Rev\nAda Abendrot,,1/4\nBram Cassel,1/8,\n"
    assert guess(text)[1:] == [("thumb_forward", "sure"), ("thumb_forward", "sure")]


def test_a_person_changes_a_column() -> None:
    columns = guess_columns(read_file(b"Name,Stuff\nAda Abendrot,4 1/2 x 4 3/8\n")).change(1, "spans")
    assert columns.columns[1].field == "spans" and columns.columns[1].sure == "sure"
    with pytest.raises(ValueError):
        columns.change(1, "shoe_size")


def needed(text: str | bytes) -> list[str]:
    sheet: Sheet = read_file(text.encode() if isinstance(text, str) else text)
    return [need.name for need in list_needed(sheet, guess_columns(sheet))]


def test_only_what_the_cells_need_is_asked() -> None:
    assert needed("Name,Hand,Style\nAda Abendrot,R,fingertip\n") == []
    assert needed("Name,Hand,Thumb hole,Style\nAda Abendrot,R,31/32,fingertip\n") == ["grip_holes"]
    assert "units" in needed("Name,Thumb hole\nAda Abendrot,.96875\n")
    assert "units" not in needed("Name,Thumb hole\nAda Abendrot,31/32\n")
    assert "plain_vertical" in needed("Name,Thumb F/R\nAda Abendrot,-1/4\n")
    assert "plain_vertical" not in needed("Name,Th Rev\nAda Abendrot,1/4\n")
    assert "plain_lateral" not in needed("Name,Thumb lat\nAda Abendrot,1/8 under\n")
    assert "seen_from" not in needed("Name,Thumb lat\nAda Abendrot,1/8 under\n")
    assert "seen_from" in needed("Name,Thumb lat\nAda Abendrot,1/8 L\n")
    assert "comma" in needed("Name;Middle span\nAda Abendrot;4,375\n")
    assert "date_order" in needed("Name,Date\nAda Abendrot,3/8/2024\n")
    assert "date_order" not in needed("Name,Date\nAda Abendrot,13/8/2024\n")
    assert "name_order" in needed('Name,Hand\n"Abendrot, Ada",R\n')
    assert "first_finger" in needed("Name,Spans\nAda Abendrot,4 1/2 x 4 3/8\n")
    assert "datum" in needed("Name,Bore depth\nAda Abendrot,2 1/2\n")
    assert "datum" not in needed("Name,Bore depth\nAda Abendrot,2 1/2 from crown\n")


def test_the_damaged_rows_need_what_their_cells_leave_open() -> None:
    assert set(needed(CSV)) == {
        "hand", "style", "grip_holes", "span_edges", "bridge_edges", "plain_vertical", "plain_lateral", "seen_from",
        "empty_pitch", "units", "pitch_units", "comma", "date_order", "name_order",
    }  # fmt: skip
