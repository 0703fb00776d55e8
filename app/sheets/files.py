"""Reads a file that a shop kept its fits in, whatever its format."""

from app.sheets.cells import MOST_BYTES, Sheet, SheetError
from app.sheets.delimited import read_delimited
from app.sheets.own_tables import put_together
from app.sheets.workbooks import read_workbook


def read_file(data: bytes, sheet: str = "", separator: str = "", encoding: str = "") -> Sheet:
    """Returns a sheet of a workbook (the first shown without a name), or the rows of a text; raises only SheetError.

    The format is told from the first bytes, not from the file's name. Separator and encoding of a text are found unless
    they are given.
    """
    if not data.strip():
        raise SheetError("That file is empty.")
    if len(data) > MOST_BYTES:
        raise SheetError(f"That file is larger than {MOST_BYTES // 1_000_000} MB. Part it into several.")
    if data.startswith((b"PK\x03\x04", b"\xd0\xcf\x11\xe0", b"PK\x05\x06")):
        read = read_workbook(data, sheet)
    else:
        read = read_delimited(data, separator, encoding)
    if not read.rows:
        raise SheetError("There is nothing in that sheet.")
    return put_together(read)
