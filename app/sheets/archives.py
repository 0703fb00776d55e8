"""Opens the zip of a workbook without trusting it: sizes are bounded before, and again while its parts are unpacked."""

import io
import re
import zipfile
import zlib
from collections.abc import Iterator

from app.sheets.cells import SheetError

MOST_UNPACKED = 400_000_000  # bytes in all, ASSUMED: several times a full sheet of ours
MOST_RATIO = 250  # unpacked ÷ packed of one part above 10 MB; a sheet of equal rows packs about 100-fold
MOST_PARTS = 2_000
_CHUNK = 1 << 18
_BROKEN = (zipfile.BadZipFile, zlib.error, EOFError, OSError, NotImplementedError, RuntimeError, ValueError, KeyError)
DAMAGED = "That file is damaged: it cannot be opened. Save it again in the program that made it."


class Archive:
    """The parts of a zip, read in chunks; raises SheetError for a bomb and for whatever cannot be unpacked."""

    def __init__(self, data: bytes) -> None:
        try:
            self._zip = zipfile.ZipFile(io.BytesIO(data))
            parts = self._zip.infolist()
        except _BROKEN:
            raise SheetError(DAMAGED) from None
        if len(parts) > MOST_PARTS or len({part.filename for part in parts}) < len(parts):
            raise SheetError("That file has more parts than a spreadsheet has, or the same part twice.")
        for part in parts:
            self._check_part(part)
        if sum(part.file_size for part in parts) > MOST_UNPACKED:
            raise SheetError("That file is far larger unpacked than a sheet of fits can be.")
        self.names = {part.filename for part in parts}

    def _check_part(self, part: zipfile.ZipInfo) -> None:
        if part.flag_bits & 1:
            raise SheetError("That file is locked with a password. Save it without one.")
        if part.compress_type not in {zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED}:
            raise SheetError(DAMAGED)
        if part.file_size > 10_000_000 and part.file_size > MOST_RATIO * max(part.compress_size, 1):
            raise SheetError("That file unpacks to far more than a spreadsheet holds. It is not opened.")

    def read_chunks(self, name: str) -> Iterator[bytes]:
        """Yields a part unpacked, never more of it than its directory says."""
        try:
            left = self._zip.getinfo(name).file_size
            with self._zip.open(name) as part:
                while chunk := part.read(_CHUNK):
                    left -= len(chunk)
                    if left < 0:
                        raise SheetError(DAMAGED)
                    yield chunk
        except _BROKEN:
            raise SheetError(DAMAGED) from None

    def check_contents(self) -> None:
        """Unpacks every part once and drops it: a directory that lies about a size is found here."""
        for name in self.names:
            for _ in self.read_chunks(name):
                pass

    def read_whole(self, name: str, most: int = 4_000_000) -> str:
        """Returns a small part as text, empty if there is none."""
        if name not in self.names:
            return ""
        data = b""
        for chunk in self.read_chunks(name):
            data += chunk
            if len(data) > most:
                raise SheetError(DAMAGED)
        return data.decode("utf-8", "replace")

    def scan_tags(self, name: str, wanted: re.Pattern[bytes]) -> Iterator[re.Match[bytes]]:
        """Yields every match of `wanted` in a part of XML; raises SheetError where it declares entities.

        `wanted` matches one tag and the text behind it. Chunks are cut before a `<`, which stands nowhere else in XML.
        """
        rest = b""
        for chunk in self.read_chunks(name):
            if b"\0" in chunk:
                raise SheetError(DAMAGED)
            text = rest + chunk
            end = text.rfind(b"<")
            if b"<!DOCTYPE" in text or b"<!ENTITY" in text or len(text) - end > 4_000_000:
                raise SheetError(DAMAGED)
            yield from wanted.finditer(text, 0, max(end, 0))
            rest = text[max(end, 0) :]
        yield from wanted.finditer(rest)
