"""What a cell may have been before a spreadsheet, a keyboard or a hurried hand damaged it: readings to offer."""

import re
from collections.abc import Callable, Iterable, Iterator
from datetime import date
from fractions import Fraction

from app.measures.lengths import NUMBER, UNIT, read_length
from app.measures.reading import Quantity, Refuse
from app.measures.spelling import LONGEST_TEXT, clean

_BOTTOMS = (8, 16, 32, 64, 4, 2)  # commoner ones first
_DATE = re.compile(r"(\d{4})-(\d{2})-(\d{2})")
_A_NUMBER = re.compile(rf"(?<![\d./,]){NUMBER}(?:\s*(?:{UNIT}))?(?![\d./,])")
MOST_CHOICES = 8


def list_fractions_of_date(text: str) -> tuple[str, ...]:
    """Returns the fractions that a spreadsheet may have made this date of: 8 March from 3/8 or 8/3, 1932 from 1/32."""
    found = _DATE.match(text)
    if not found:
        return ()
    year, month, day = int(found[1]), int(found[2]), int(found[3])
    pairs = [(month, day), (day, month)]
    if day == 1:
        pairs = [(month, year % 100), *pairs]
    likely = [p for p in pairs if p[0] < p[1] and p[1] in _BOTTOMS]
    return tuple(dict.fromkeys(f"{a}/{b}" for a, b in (*likely, *pairs) if b))


_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_MONTH = rf"(?P<month>{'|'.join(_MONTHS)})[a-z]*\.?"
_WRITTEN_DATE = re.compile(
    rf"(?P<day>\d{{1,2}})[-. ]{_MONTH}(?:[-., ]+\d{{2,4}})?"
    r"|(?P<first>\d{1,2})(?P<mark>[/.-])(?P<second>\d{1,2})(?P=mark)(?P<year>\d{4}|\d{2})"
)
_MONTH_FIRST = re.compile(rf"{_MONTH}[-. ](?P<day>\d{{1,2}})(?:,? \d{{4}})?")


def find_written_date(text: str) -> tuple[str, ...]:
    """Returns the fractions that a date written as text may have been, `8-Mar`, `08/03/2026`; none if it is no date."""
    plain = text.lower().strip(" '\"").removesuffix(" 00:00").removesuffix(" 0:00")
    if _DATE.fullmatch(plain):
        return list_fractions_of_date(plain)
    found = _WRITTEN_DATE.fullmatch(plain) or _MONTH_FIRST.fullmatch(plain)
    if not found:
        return ()
    named = found.groupdict()
    if named.get("first"):
        a, b, year = int(named["first"]), int(named["second"]), int(named["year"]) % 100
        pairs = [(a, b), (b, a), (a, year), (b, year)] if 1 in (a, b) else [(a, b), (b, a)]
    else:
        a, b = _MONTHS.index(named["month"]) + 1, int(named["day"])
        pairs = [(a, b), (b, a)]
    likely = [p for p in pairs if p[0] < p[1] and p[1] in _BOTTOMS]
    return tuple(dict.fromkeys(f"{x}/{y}" for x, y in (*likely, *pairs) if x and y))


def day_words(text: str) -> str:
    """`8 March 2026` for an ISO date."""
    day = date.fromisoformat(text[:10])
    return f"{day.day} {day:%B} {day.year}"


def list_lost_signs(text: str) -> Iterator[str]:
    """Yields texts with the stroke, gap or point put back: 5 as 5/8, 438 as 4 3/8, 15.16 as 15/16, 4.3.8 as 4 3/8."""
    plain = text.strip(" \"'")
    if re.fullmatch(r"\d{1,2}(?:\.0+)?", plain):
        number = int(plain.split(".")[0])
        yield from (f"{number}/{bottom}" for bottom in _BOTTOMS if 0 < number < bottom)
    run = re.fullmatch(r"(\d)(\d{2,4})", plain)
    if run:
        yield from (f"{run[1]} {split}" for split in _split_run(run[2]))
    if re.fullmatch(r"\d{2,4}", plain):
        yield from _split_run(plain)
    dotted = re.fullmatch(r"(\d{1,2})[.,:;-](\d{1,2})", plain)
    if dotted and int(dotted[2]) in _BOTTOMS and 0 < int(dotted[1]) < int(dotted[2]):
        yield f"{int(dotted[1])}/{int(dotted[2])}"
    if dotted and len(dotted[1]) == 1:
        yield from (f"{dotted[1]} {int(dotted[2])}/{b}" for b in (8, 16) if 0 < int(dotted[2]) < b)
    if three := re.fullmatch(r"(\d)[ .,:;/-]+(\d{1,2})[ .,:;/-]+(\d{1,2})", plain):
        yield f"{three[1]} {three[2]}/{three[3]}"
    if feet := re.fullmatch(r"(\d[\d /]*)'", text.strip()):
        yield feet[1]


def _split_run(digits: str) -> Iterator[str]:
    for cut in (1, 2):
        top, bottom = digits[:cut], digits[cut:]
        if bottom.isdecimal() and int(bottom) in _BOTTOMS and not bottom.startswith("0") and 0 < int(top) < int(bottom):
            yield f"{top}/{bottom}"


def list_numbers_within(text: str) -> Iterator[str]:
    """Yields the numbers that stand among other words: 4 3/8 and 4 1/2 in “4 3/8 (was 4 1/2)”."""
    try:
        plain = clean(text[:LONGEST_TEXT])
    except Refuse:
        return
    for found in _A_NUMBER.finditer(plain):
        yield found[0].strip()


def keep_usual(texts: Iterable[str], quantity: Quantity) -> tuple[str, ...]:
    """Returns those texts that read as a usual value of the quantity, each value once."""
    kept: dict[Fraction, str] = {}
    for text in texts:
        reading = read_length(text, quantity)
        if reading.value is not None and quantity.usual_low <= abs(reading.value) <= quantity.usual_high:
            kept.setdefault(reading.value, text)
    return tuple(kept.values())[:MOST_CHOICES]


def list_readings(text: str, quantity: Quantity, more: Callable[[], Iterable[str]] = tuple) -> tuple[str, ...]:
    """Returns what to offer for a text that is no usual value of the quantity."""
    tried = [*list_lost_signs(text), *list_numbers_within(text), *more()]
    return keep_usual(tried, quantity)


def has_words(text: str) -> bool:
    """Whether a measure's cell also holds words, which are kept as a note."""
    return bool(
        re.search(r"[^\W\d_]{3,}", re.sub(r"(?i)\b(?:inch|inches|rev|fwd|lat|left|right|under|away)\b", "", text))
    )
