"""Reads a text of separated values in any encoding and with any usual separator."""

import csv
import io
import re
from collections import Counter
from collections.abc import Iterator

from charset_normalizer import from_bytes

from app.sheets.cells import EMPTY, LONGEST_CELL, MOST_COLUMNS, Cell, Gathering, Sheet, SheetError

_MARKS = ((b"\xef\xbb\xbf", "utf-8-sig"), (b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16"))
_SEPARATORS = ",;\t|"
_SAMPLE = 64_000  # characters that the separator is told from
_ODD = re.compile(r"[\x00-\x08\x0e-\x1f]")
_ERROR = re.compile(r"#(?:DIV/0!|N/A|NAME\?|NULL!|NUM!|REF!|VALUE!)|Err:\d+")


def read_delimited(data: bytes, separator: str = "", encoding: str = "") -> Sheet:
    """Returns the rows of a csv or tsv file; raises only SheetError. What was taken for granted is told."""
    encoding = encoding or find_encoding(data)
    try:
        text = data.decode(encoding)
    except (UnicodeDecodeError, LookupError):
        raise SheetError("The characters of that file cannot be read. Save it as UTF-8.") from None
    if _ODD.search(text[:_SAMPLE]):
        raise SheetError("That is no table of text. Choose an xlsx, xls, ods, csv or tsv file.")
    named = re.match(r"sep=(.)\r?\n", text)
    text = text[named.end() :] if named else text
    separator = separator or (named[1] if named else find_separator(text))
    gathered = Gathering()
    read = csv.reader(_guard_lines(text, separator), delimiter=separator, strict=False)
    csv.field_size_limit(4 * LONGEST_CELL)
    try:
        for row in read:
            has_more = any(value.strip() for value in row[MOST_COLUMNS:])
            gathered.add(_convert(value) for value in (row if has_more else row[:MOST_COLUMNS]))
    except csv.Error:
        raise SheetError(
            f"Row {len(gathered.rows) + 1} cannot be read: a quotation mark may be missing there."
        ) from None
    words = {sign: word for word, sign in SEPARATORS.items()}.get(separator, separator)
    told = (f"Read as {encoding}, cells apart by {words}.",)
    return Sheet("", gathered.finish(), told=told)


def _guard_lines(text: str, separator: str) -> Iterator[str]:
    """Yields the lines of a text; raises SheetError for one of too many cells, or too long a cell, before it is cut."""
    for number, line in enumerate(io.StringIO(text, newline=""), 1):
        if line.count(separator) > MOST_COLUMNS + LONGEST_CELL:
            raise SheetError(f"Line {number} has more than {MOST_COLUMNS} columns.")
        yield line


def _convert(value: str) -> Cell:
    if not value or value.isspace():
        return EMPTY
    return Cell(value, "error" if value[0] in "#E" and _ERROR.fullmatch(value.strip()) else "text")


def find_encoding(data: bytes) -> str:
    """Returns the encoding of a text: by its mark, UTF-8 if it is that, else the likeliest."""
    for mark, name in _MARKS:
        if data.startswith(mark):
            return name
    try:
        data.decode("utf-8")
        return "utf-8"
    except UnicodeDecodeError:
        pass
    zeros = [data[at:4000:2].count(0) for at in (0, 1)]
    if max(zeros) > 200 or (len(data) < 800 and max(zeros) > len(data) // 4):
        return "utf-16-be" if zeros[0] > zeros[1] else "utf-16-le"
    return _guess_encoding(data)


def _guess_encoding(data: bytes) -> str:
    """Returns the likeliest encoding of a text that is not UTF-8, from its lines that have other than ASCII letters."""
    lines = [line for line in data.splitlines() if any(byte > 127 for byte in line)]
    sample = b"\n".join(lines)[:20_000]
    western = _try_western(sample)
    best = from_bytes(sample, cp_isolation=["cp1250", "cp1251", "cp1253", "cp932", "big5", "gb18030", "euc_kr"]).best()
    return western or (best.encoding if best else "cp1252")


ENCODINGS = {  # those of old spreadsheets, by what they write
    "utf-8": "Unicode (UTF-8)", "cp1252": "western Europe", "cp1250": "central Europe", "cp1251": "Cyrillic",
    "cp1253": "Greek", "cp1254": "Turkish", "cp1257": "Baltic", "cp932": "Japanese (Shift JIS)",
    "euc_jp": "Japanese (EUC)", "gb18030": "Chinese, simplified", "big5": "Chinese, traditional", "cp949": "Korean",
}  # fmt: skip
SEPARATORS = {"commas": ",", "semicolons": ";", "tabs": "\t", "upright strokes": "|"}


def list_doubtful(data: bytes) -> dict[str, str]:
    """Returns the first line of a text that is no plain ASCII, as each encoding has it that may be; none if it is sure.

    Sure are Unicode and western text alone: in any other, the same bytes are names in several languages.
    """
    if data.startswith((b"PK\x03\x04", b"\xd0\xcf\x11\xe0", b"PK\x05\x06")):
        return {}
    lines = [line for line in data[:_SAMPLE].splitlines() if not line.isascii()]
    found = find_encoding(data) if lines else "utf-8"
    if found.startswith("utf") or _try_western(b"\n".join(lines)):
        return {}
    shown: dict[str, str] = {}
    for name in sorted(ENCODINGS, key=lambda name: name != found):
        try:
            data.decode(name)
            shown[name] = lines[0].decode(name)[:60]
        except UnicodeDecodeError:
            continue
    return shown


_WESTERN = re.compile(r"[\x00-\x7fÀ-ÖØ-öø-ÿŒœŠšŽžŸ½¼¾°´’‘“”–—…€£«»ºª \u00b4]*")


def _try_western(sample: bytes) -> str:
    """Returns cp1252 if the sample has only its letters, fractions and quotation marks, and few of them."""
    try:
        text = sample.decode("cp1252")
    except UnicodeDecodeError:
        return ""
    rare = sum(c > "\x7f" for c in text)
    return "cp1252" if _WESTERN.fullmatch(text) and rare <= len(text) / 3 else ""


def find_separator(text: str) -> str:
    """Returns the separator that cuts the first rows most evenly into the most cells."""
    sample = text[:_SAMPLE]
    best, best_score = ",", 0.0
    for separator in _SEPARATORS:
        try:
            widths = Counter(
                len(row) for row in csv.reader(io.StringIO(sample, newline=""), delimiter=separator) if any(row)
            )
        except csv.Error:
            continue
        width, times = max(widths.items(), key=lambda pair: (pair[1] * (pair[0] > 1), pair[0]), default=(1, 0))
        score = times / max(sum(widths.values()), 1) * (1 + min(width, 40) / 40) if width > 1 else 0.0
        if score > best_score:
            best, best_score = separator, score
    return best
