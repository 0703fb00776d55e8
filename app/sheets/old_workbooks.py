"""What an xls file says beside its values, and how large it is, from the records of its workbook stream.

Source: the record numbers and layouts of the published Excel binary file format (MS-XLS 2.4) and compound file format
(MS-CFB 2.2 to 2.6), from memory.
"""

import struct
from collections.abc import Iterator

from app.sheets.archives import DAMAGED
from app.sheets.cells import MOST_CELLS, MOST_COLUMNS, MOST_ROWS, CellKind, Marks, SheetError

_LAST_SECTOR = 0xFFFFFFFA  # greater numbers end a chain
_BEGIN, _ROW, _COLUMN, _FORMULA, _ERROR = 0x0809, 0x0208, 0x007D, 0x0006, 0x0205
_ONE = {0x0203, 0x027E, 0x0204, 0x00FD, _FORMULA, _ERROR, 0x00D6}  # number, rk, label, shared label, rich string
_MANY = 0x00BD  # several rk numbers
_WORKSHEET = 0x0010


def scan_xls(data: bytes) -> list[Marks]:
    """Returns the marks of each worksheet, in the file's order; raises SheetError if one is larger than is taken in."""
    try:
        return _scan_records(_read_stream(data))
    except (struct.error, IndexError, ValueError):
        raise SheetError(DAMAGED) from None


def _read_stream(data: bytes) -> bytes:
    """Returns the workbook stream of a compound file."""
    shift, small_shift = struct.unpack_from("<HH", data, 30)
    if shift not in {9, 12} or small_shift != 6:
        raise SheetError(DAMAGED)
    size = 1 << shift
    first_directory, least, first_small = (struct.unpack_from("<I", data, at)[0] for at in (48, 56, 60))
    table = _read_table(data, size)
    directory = _follow(data, table, first_directory, size, 512)
    for at in range(0, len(directory) - 127, 128):
        name = directory[at : at + 64].decode("utf-16-le", "replace").split("\0")[0]
        if name.lower() not in {"workbook", "book"}:
            continue
        start, length = struct.unpack_from("<II", directory, at + 116)
        if length >= least:
            return _follow(data, table, start, size, 512)[:length]
        root = _follow(data, table, struct.unpack_from("<I", directory, 116)[0], size, 512)
        small = _follow(data, table, first_small, size, 512)
        small_table = list(struct.unpack(f"<{len(small) // 4}I", small[: len(small) // 4 * 4]))
        return _follow(root, small_table, start, 64, 0)[:length]
    raise SheetError(DAMAGED)


def _read_table(data: bytes, size: int) -> list[int]:
    """Returns the table that names the sector behind each sector."""
    sectors = [s for s in struct.unpack_from("<109I", data, 76) if s < _LAST_SECTOR]
    following, seen = struct.unpack_from("<I", data, 68)[0], 0
    while following < _LAST_SECTOR:
        numbers = struct.unpack_from(f"<{size // 4}I", data, (following + 1) * size)
        sectors += [s for s in numbers[:-1] if s < _LAST_SECTOR]
        following, seen = numbers[-1], seen + 1
        if seen > len(data) // size:
            raise SheetError(DAMAGED)
    if len(sectors) > len(data) // size:
        raise SheetError(DAMAGED)
    return [n for s in sectors for n in struct.unpack_from(f"<{size // 4}I", data, (s + 1) * size)]


def _follow(data: bytes, table: list[int], sector: int, size: int, offset: int) -> bytes:
    """Returns the bytes of a chain of sectors; raises SheetError for one that runs in a circle."""
    pieces: list[bytes] = []
    head = size if offset else 0
    while sector < _LAST_SECTOR:
        pieces.append(data[head + sector * size : head + (sector + 1) * size])
        if len(pieces) > len(table) or sector >= len(table):
            raise SheetError(DAMAGED)
        sector = table[sector]
    return b"".join(pieces)


def _list_records(stream: bytes) -> Iterator[tuple[int, bytes]]:
    at = 0
    while at + 4 <= len(stream):
        kind, length = struct.unpack_from("<HH", stream, at)
        yield kind, stream[at + 4 : at + 4 + length]
        at += 4 + length


def _scan_records(stream: bytes) -> list[Marks]:
    sheets: list[tuple[dict[tuple[int, int], CellKind], set[int], set[int]]] = []
    cells = 0
    is_sheet = False
    for kind, body in _list_records(stream):
        if kind == _BEGIN:
            is_sheet = struct.unpack_from("<H", body, 2)[0] == _WORKSHEET
            if is_sheet:
                sheets.append(({}, set(), set()))
        elif is_sheet and sheets:
            cells += _take_record(kind, body, *sheets[-1])
        if cells > MOST_CELLS:
            raise SheetError("That sheet is too large to be read at once. Part it into several files.")
    return [Marks(kinds, frozenset(rows), frozenset(columns)) for kinds, rows, columns in sheets]


def _take_record(
    kind: int, body: bytes, kinds: dict[tuple[int, int], CellKind], rows: set[int], columns: set[int]
) -> int:
    """Notes what one record of a sheet says; returns how many filled cells it has."""
    if kind == _ROW and struct.unpack_from("<I", body, 12)[0] & 0x20:
        rows.add(struct.unpack_from("<H", body)[0])
    elif kind == _COLUMN:
        first, last, _, _, flags = struct.unpack_from("<5H", body)
        if flags & 1:
            columns.update(range(first, min(last + 1, MOST_COLUMNS)))
    elif kind in _ONE or kind == _MANY:
        row, column = struct.unpack_from("<HH", body)
        last = struct.unpack_from("<H", body, len(body) - 2)[0] if kind == _MANY else column
        if row >= MOST_ROWS:
            raise SheetError(f"That sheet has more than {MOST_ROWS:,} rows. Part it into several files.")
        if last >= MOST_COLUMNS:
            raise SheetError(f"Row {row + 1} has more than {MOST_COLUMNS} columns.")
        if kind == _ERROR and body[7] == 1:
            kinds[row, column] = "error"
        elif kind == _FORMULA:
            is_error = body[12:14] == b"\xff\xff" and body[6] == 2
            kinds[row, column] = "error" if is_error else "formula"
        return int(last - column + 1)
    return 0
