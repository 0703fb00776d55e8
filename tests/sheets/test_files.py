"""Files of any format are read into the same cells; bombs and damage are refused in words, in bounded memory."""

import datetime
import io
import subprocess
import sys
import zipfile
from collections.abc import Callable
from pathlib import Path

import openpyxl
import pytest
import xlwt
from hypothesis import given, settings
from hypothesis import strategies as st
from openpyxl.cell import WriteOnlyCell

from app.settings import ROOT
from app.sheets import cells
from app.sheets.cells import Cell, Sheet, SheetError
from app.sheets.delimited import find_encoding, find_separator, list_doubtful
from app.sheets.files import read_file
from app.sheets.workbooks import write_number
from tests.sheets.workbooks import write_ods, write_xls, write_xlsx

pytestmark = pytest.mark.once
TABLE = [["Name", "Span", "Pitch"], ["Ada Abendrot", "4 3/8", "１/8 Ｒ"], ["", "", ""], ["Bram Cassel", "4½", ""]]
WRITERS = [write_xlsx, write_ods, write_xls]


def show(sheet: Sheet) -> list[list[str]]:
    return [[cell.text for cell in row] for row in sheet.rows]


EXPECTED = [["Name", "Span", "Pitch"], ["Ada Abendrot", "4 3/8", "１/8 Ｒ"], [], ["Bram Cassel", "4½"]]


@pytest.mark.parametrize("write", WRITERS)
def test_workbooks_are_read_as_they_stand(write: Callable[[list[list[str]]], bytes]) -> None:
    assert show(read_file(write(TABLE))) == EXPECTED


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "cp932"])
@pytest.mark.parametrize("separator", [",", ";", "\t", "|"])
def test_text_of_any_encoding_and_separator_is_read(encoding: str, separator: str) -> None:
    table = [row for row in TABLE if encoding != "cp932" or "½" not in row[1]] + [["渡辺 花", "4,5 x 4,6", "a"]]
    text = "\r\n".join(separator.join(f'"{cell}"' for cell in row) for row in table)
    assert show(read_file(text.encode(encoding)))[-1] == ["渡辺 花", "4,5 x 4,6", "a"]


def test_western_text_is_told_from_others() -> None:
    assert find_encoding("Jürg Größer;4½\nRené;4¼".encode("cp1252")) == "cp1252"
    assert read_file("Name;Span\nJürg;4½".encode("cp1252")).rows[1][1].text == "4½"
    assert find_separator("a;b,c;d\n1,5;2,5;3\n") == ";"
    assert show(read_file(b"sep=|\na|b,c\n")) == [["a", "b,c"]]


@pytest.mark.parametrize(
    ("name", "encoding"),
    [("Łukasz Żółć", "cp1250"), ("渡辺 花", "euc_jp"), ("渡辺 花", "cp932"), ("王小明", "gb18030"), ("Иван", "cp1251")],
)
def test_letters_that_can_be_read_in_several_ways_are_asked(name: str, encoding: str) -> None:
    data = f"Name;Span\nAda Abend;4\n{name};4 1/2\n".encode(encoding)
    assert list_doubtful(data)[encoding] == f"{name};4 1/2"
    assert read_file(data, "", ";", encoding).rows[2][0].text == name


def test_unicode_western_and_plain_letters_are_sure() -> None:
    texts = ["Łukasz Żółć".encode(), "Łukasz".encode("utf-16"), "Jürg Größer;4½".encode("cp1252"), b"Ada Abend"]
    assert [list_doubtful(data) for data in texts] == [{}] * 4


def test_what_a_workbook_knows_of_itself_is_told() -> None:
    book = openpyxl.Workbook()
    sheet = book.worksheets[0]
    sheet.append(["Spans", None, "Day", "Sum", "Lost", "Number"])
    sheet.append(["Middle", "Ring"])
    sheet.append([4.375, "4 1/2", datetime.date(2026, 3, 8), "=1+1", "#REF!", 5551234567.0])
    sheet.merge_cells("A1:B1")
    sheet.row_dimensions[3].hidden = True
    sheet.column_dimensions["B"].hidden = True
    book.create_sheet("old").sheet_state = "hidden"
    stream = io.BytesIO()
    book.save(stream)
    read = read_file(stream.getvalue())
    assert (read.hidden_rows, read.hidden_columns, read.merged) == (frozenset({2}), frozenset({1}), ((0, 0, 0, 1),))
    assert (read.names, read.hidden_sheets) == (("Sheet", "old"), ("old",))
    assert read.rows[2] == (
        Cell("4.375", "number"), Cell("4 1/2", "text"), Cell("2026-03-08", "date"), Cell("#?", "error"),
        Cell("#?", "error"), Cell("5551234567", "number"),
    )  # fmt: skip


def test_hidden_rows_columns_and_formulas_of_an_old_workbook_are_told() -> None:
    book = xlwt.Workbook()
    sheet = book.add_sheet("fits")
    sheet.write(0, 0, "Name")
    sheet.write(1, 0, 4.375)
    sheet.write(1, 1, xlwt.Formula("A2*2"))
    sheet.row(1).hidden = True
    sheet.col(1).hidden = True
    stream = io.BytesIO()
    book.save(stream)
    read = read_file(stream.getvalue())
    assert (read.hidden_rows, read.hidden_columns) == (frozenset({1}), frozenset({1}))
    assert read.rows[1] == (Cell("4.375", "number"), Cell("#?", "error"))


def test_numbers_are_shown_with_the_figures_a_spreadsheet_keeps() -> None:
    shown = {
        4.375: "4.375",
        0.1 + 0.2: "0.3",
        5551234567.0: "5551234567",
        1e17: "100000000000000000",
        1e-7: "0.0000001",
    }
    assert {value: write_number(value) for value in shown} == shown


def test_an_old_workbook_of_many_sectors_is_read_whole() -> None:
    table = [["Name", "Span"]] + [[f"Ada Abendrot {n}", f"4 {n % 64}/64"] for n in range(12_000)]
    assert show(read_file(write_xls(table))) == table


def test_the_empty_rest_of_a_sheet_is_no_bomb() -> None:
    rest = (
        b'<table:table-row table:number-rows-repeated="1048000">'
        b'<table:table-cell table:number-columns-repeated="16384"/></table:table-row>'
    )
    base = write_ods(TABLE)
    with zipfile.ZipFile(io.BytesIO(base)) as old:
        content = old.read("content.xml")
    end = b"</table:table>"
    assert show(read_file(zip_up({"content.xml": content.replace(end, rest + end)}, base))) == EXPECTED


def zip_up(parts: dict[str, bytes], base: bytes | None = None) -> bytes:
    """A zip of the parts, over those of another."""
    held = dict(parts)
    if base:
        with zipfile.ZipFile(io.BytesIO(base)) as old:
            held = {name: old.read(name) for name in old.namelist()} | parts
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in held.items():
            archive.writestr(name, data)
    return stream.getvalue()


SHEET = "xl/worksheets/sheet1.xml"
HEAD = b'<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>'


def make_sheet(rows: bytes) -> bytes:
    return zip_up({SHEET: HEAD + rows + b"</sheetData></worksheet>"}, write_xlsx(TABLE))


def make_ods(rows: bytes) -> bytes:
    base = write_ods(TABLE)
    with zipfile.ZipFile(io.BytesIO(base)) as old:
        content = old.read("content.xml")
    at = content.index(b"<table:table-row")
    return zip_up({"content.xml": content[:at] + rows + content[at:]}, base)


def write_corner() -> bytes:
    book = xlwt.Workbook()
    sheet = book.add_sheet("fits")
    sheet.write(0, 0, "Name")
    sheet.write(65535, 255, "x")
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


LONG = b"<si><t>%s</t></si>" % (b"x" * 30_000)
BOMBS: dict[str, Callable[[], bytes]] = {
    "a part that unpacks a thousandfold": lambda: zip_up({SHEET: HEAD + b" " * 60_000_000}, write_xlsx(TABLE)),
    "a cell in the far corner": lambda: make_sheet(b'<row r="1048576"><c r="XFD1048576"><v>1</v></c></row>'),
    "a far column": lambda: make_sheet(b'<row r="1"><c r="XFD1"><v>1</v></c></row>'),
    "a place that is none": lambda: make_sheet(b'<row r="1"><c r="&#88;1"><v>1</v></c></row>'),
    "entities": lambda: zip_up({SHEET: b'<!DOCTYPE x [<!ENTITY a "aaaa">]>' + HEAD}, write_xlsx(TABLE)),
    "one long text in very many cells": lambda: zip_up(
        {
            SHEET: HEAD + (b"<row>" + b'<c t="s"><v>0</v></c>' * 150 + b"</row>") * 200 + b"</sheetData></worksheet>",
            "xl/sharedStrings.xml": b'<sst xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main">' + LONG + b"</sst>",
        },
        write_xlsx(TABLE),
    ),
    "a row repeated a million times": lambda: make_ods(
        b'<table:table-row table:number-rows-repeated="1048576"><table:table-cell office:value-type="float" office:value="1"/></table:table-row>'
    ),
    "a cell repeated": lambda: make_ods(
        b'<table:table-row table:number-rows-repeated="40000"><table:table-cell office:value-type="float" office:value="1" table:number-columns-repeated="190"/></table:table-row>'
    ),
    "an absurd count": lambda: make_ods(b'<table:table-row table:number-rows-repeated="99999999999"/>'),
    "an old workbook's far corner": write_corner,
    "too many rows of text": lambda: b"a,b\n" * 60_000,
    "too many columns of text": lambda: b"," * 300 + b"x",
    "too many empty columns of text": lambda: b"," * 6_000_000,
    "a cell too long": lambda: b"a,b\n" + b"x" * 25_000,
    "an endless quotation": lambda: b'a,"' + b"x\n" * 2_000_000,
    "a large file": lambda: b"x" * 41_000_000,
}  # fmt: skip


@pytest.mark.parametrize("bomb", BOMBS)
def test_bombs_are_refused(bomb: str) -> None:
    with pytest.raises(SheetError):
        read_file(BOMBS[bomb]())


MOST_MB = 300  # of the whole process that refuses them all


@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="the peak of memory is read from /proc")
def test_refusing_bombs_takes_little_memory(tell: Callable[[str], None], tmp_path: Path) -> None:
    for number, make in enumerate(BOMBS.values()):
        (tmp_path / f"{number}").write_bytes(make())
    code = (
        "import re, sys\nfrom pathlib import Path\nfrom app.sheets.cells import SheetError\n"
        "from app.sheets.files import read_file\n"
        "for path in Path(sys.argv[1]).iterdir():\n"
        "    try:\n        read_file(path.read_bytes())\n    except SheetError:\n        continue\n    sys.exit(f'{path} was read')\n"
        "peak = re.search(r'VmHWM:\\s*(\\d+) kB', Path('/proc/self/status').read_text())\n"  # of this program alone
        "print(int(peak[1]) // 1024)"
    )
    command = [sys.executable, "-c", code, str(tmp_path)]
    told = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=True)
    tell(f"the process that refused {len(BOMBS)} bombs took {told.stdout.strip()} MB at most")
    assert int(told.stdout) < MOST_MB


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "empty"), (b"   \n", "empty"), (b"PK\x03\x04 damaged", "damaged"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 600, "damaged"), (zip_up({"a.txt": b"x"}), "no spreadsheet"),
        (zip_up({"xl/workbook.bin": b"x"}), "xlsb"), (b"\x89PNG\r\n\x1a\n\0\0\0\x0dIHDR", "no table"),
    ],
)  # fmt: skip
def test_what_is_no_sheet_is_refused_in_words(data: bytes, words: str) -> None:
    with pytest.raises(SheetError, match=words):
        read_file(data)


SAMPLES = [write(TABLE) for write in WRITERS] + [b"Name;Span\nAda;4 3/8\n", "Näme,Späñ\n".encode("utf-16")]


@settings(max_examples=400, deadline=None)
@given(
    st.sampled_from(SAMPLES),
    st.lists(st.tuples(st.integers(0, 10**6), st.integers(0, 255)), max_size=6),
    st.integers(0, 100),
)
def test_a_damaged_file_raises_only_its_own_error(sample: bytes, changes: list[tuple[int, int]], cut: int) -> None:
    damaged = bytearray(sample)
    for at, value in changes:
        damaged[at % len(damaged)] = value
    try:
        read_file(bytes(damaged[: len(damaged) * (100 - cut % 40) // 100]))
    except SheetError as error:
        assert error.message


@settings(max_examples=200, deadline=None)
@given(st.binary(max_size=400))
def test_any_bytes_raise_only_its_own_error(data: bytes) -> None:
    try:
        read_file(data)
    except SheetError as error:
        assert error.message


def test_twenty_thousand_rows_are_read_within_the_limits() -> None:
    book = openpyxl.Workbook(write_only=True)
    sheet = book.create_sheet()
    for number in range(20_000):
        sheet.append([WriteOnlyCell(sheet, value=f"Ada {number}"), "4 3/8", 0.25, "1/8 L"])
    stream = io.BytesIO()
    book.save(stream)
    read = read_file(stream.getvalue())
    assert len(read.rows) == 20_000 and read.rows[-1][2] is read.rows[0][2]
    assert len(read.rows) < cells.MOST_ROWS
