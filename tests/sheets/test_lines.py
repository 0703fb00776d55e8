"""Lines of a card parted into measures; what each piece means is tested where cells are read."""

import pytest

from app.sheets.conventions import Conventions
from app.sheets.lines import part_line
from app.sheets.paper_lines import PieceReader
from app.sheets.parts import Part

NAMES = ("span_middle", "middle_forward", "middle_lateral", "middle_hole")
READ = PieceReader(Conventions(), "r").read

# common practice, no source: ways of writing in needs of the trade (gaps, letters behind, before or close up, marks)
TAKEN = {
    "4 3/8 1/4 r 1/8 l 31/32": ("4 3/8", "1/4 r", "1/8 l", "31/32"),
    "4 3/8 1/4r 1/8l 31/32": ("4 3/8", "1/4 r", "1/8 l", "31/32"),
    "4 3/8 R1/4 L1/8 31/32": ("4 3/8", "r 1/4", "l 1/8", "31/32"),
    "4-3/8 0 0 1 1/64": ("4-3/8", "0", "0", "1 1/64"),
    "4 0 1/8 l 3/4": ("4", "0", "1/8 l", "3/4"),
    "4⅜ fwd ¼ 1/8 left ¾": ("4 3/8", "fwd 1/4", "1/8 left", "3/4"),
    "4 3/8, 1/4 r, 1/8 l, 31/32": ("4 3/8", "1/4 r", "1/8 l", "31/32"),
    "4; 3/8; 1/8 l; 3/4": ("4", "3/8", "1/8 l", "3/4"),
    "4 3/8 ? ? 3/4": ("4 3/8", "?", "?", "3/4"),
    "111 mm 1/4 r 0 25/32": ("111 mm", "1/4 r", "0", "25/32"),
    "4 3/8 1/4 r 1/8 l 31/32 + 1/16 @ 45": ("4 3/8", "1/4 r", "1/8 l", "31/32 + 1/16 @ 45"),
    "4,375 0 0 3/4": ("4,375", "0", "0", "3/4"),
}


@pytest.mark.parametrize("line", TAKEN)
def test_a_line_is_parted_as_it_was_meant(line: str) -> None:
    assert tuple(part_line(line, NAMES, READ).cells.values()) == TAKEN[line]


@pytest.mark.parametrize(
    ("line", "choices"),
    [
        ("4 3/8 1 1/4 3/4", ("4 3/8; 1; 1/4; 3/4", "4; 3/8; 1 1/4; 3/4")),
        ("4 3/8 1/8 l 3/4", ("4; 3/8; 1/8 l; 3/4",)),  # the pitch ahead may have been left out
        ("4 3/8 1/4 r 1/8 31/32", ("4 3/8; 1/4 r; 1/8; 31/32", "4 3/8; 1/4; r 1/8; 31/32")),
        ("4 3/8 0 3/4", ("4; 3/8; 0; 3/4",)),
        ("4 3/8 1/4 r 1/8 l 31/32 7/8", ()),
        ("r l", ()),
    ],
)
def test_what_may_be_parted_in_two_ways_or_in_none_is_asked(line: str, choices: tuple[str, ...]) -> None:
    parted = part_line(line, NAMES, READ)
    assert (parted.cells, parted.choices) == ({}, choices)
    assert parted.message


def test_an_empty_line_has_no_cells_and_no_question() -> None:
    assert part_line("  ", NAMES, READ).message == ""


def test_a_line_as_long_as_a_form_takes_ends_soon() -> None:
    tried: list[str] = []

    def read(name: str, text: str) -> Part:
        tried.append(text)
        return Part(text, "value", text)

    assert part_line("1 1/2 r " * 37, NAMES, read).cells == {}
    assert len(tried) <= 2_000
