"""Reads whose row it is: names, phones, hands and days."""

import re
from datetime import date

from app.sheets.cells import Cell
from app.sheets.conventions import QUESTIONS, Conventions
from app.sheets.damages import day_words
from app.sheets.parts import Part, ask, says_same, says_unknown, tidy

_SUFFIX = re.compile(r"(?i)(?:jr|sr|junior|senior|ii|iii|iv)\.?")
_HAND = re.compile(
    r"(?i)\(?\s*\b(?:(?P<left>l\.?h\.?|lefty|left[- ]?hand(?:ed|er)?)"
    r"|(?P<right>r\.?h\.?|righty|right[- ]?hand(?:ed|er)?))(?!\w)\s*\)?"
)
_MARK = r"(?:l|r)\s?[./]?\s?h\.?|lefty|righty|southpaw|(?:left|right)(?:[- ]?hand(?:ed|er)?)?"
_IN_BRACKETS = re.compile(rf"(?i)[(\[{{]\s*(?P<mark>{_MARK}|[lr]\.?)\s*[)\]}}]")
_BEHIND_SIGN = re.compile(rf"(?i)(?<=\w|\.)(?:\s*[,;/|]|\s+[-–—])\s*(?P<mark>{_MARK}|[lr]\.?)\s*$")
_BEHIND_NAME = re.compile(rf"(?i)(?<=\w|\.)\s+(?P<mark>{_MARK})\s*$")
_NICKNAMES = ("lefty", "righty", "southpaw")
_HANDS = {"r": "right", "rh": "right", "right": "right", "righty": "right", "righthand": "right", "right-hand": "right"}
_HANDS |= {"l": "left", "lh": "left", "left": "left", "lefty": "left", "lefthand": "left", "left-hand": "left"}
_HANDS |= {"southpaw": "left"}
_NO_NAME = re.compile(
    r"(?i)(?:total|totals|count|average|sum|subtotal|grand total|page \d+|end|n/?a|none|tbd|test|\?+|-+)"
)
_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_DAY = re.compile(r"\d{4}-\d{2}-\d{2}|\d{1,2}/\d{1,2}/\d{4}")
_LONGEST_NAME = 120
_TWO_PEOPLE = re.compile(r"(?i)\s*[&+/]\s*|\s+and\s+")
_EARLIEST_FIT = 1950  # ASSUMED: a fit of a year before is a slip of the pen


def is_no_name(text: str) -> bool:
    """Whether a name's cell holds what is no name: nothing, a total, or nothing but figures and signs."""
    plain = tidy(text)
    if says_same(plain):  # the one above, who is asked for
        return False
    return bool(_NO_NAME.fullmatch(plain)) or not any(c.isalpha() for c in plain)


def has_hand_in_name(text: str) -> bool:
    """Whether a name itself has a word that may say the hand, as `Lefty Lewis`: nobody knows whether it does."""
    return bool(_HAND.search(part_hand(text)[0]))


def read_name(cell: Cell, conventions: Conventions) -> Part:
    """Reads `Hill, Ann` as Ann Hill where the file's names are so; a mark of the hand behind a name is taken off."""
    if says_same(cell.text):
        return Part(cell.text, "absent")
    text = part_hand(cell.text)[0]
    if two := _part_people(text):
        return ask(cell, "Two people in one row? Whose fit is it?", *two, text)
    behind = _BEHIND_NAME.search(tidy(cell.text))
    if text and " " not in text and behind and "hand" not in behind["mark"].lower():
        return ask(cell, "Is the last word a name, or the hand?", text, tidy(cell.text))
    if len(text) > _LONGEST_NAME:
        return ask(cell, f"That name has more than {_LONGEST_NAME} characters.", text[:_LONGEST_NAME])
    last, comma, first = (p.strip() for p in text.partition(","))
    if comma and first and not _SUFFIX.fullmatch(first) and conventions.name_order != "as_written":
        turned = f"{first} {last}" if "," not in first else ""
        if not conventions.name_order or not turned:
            return ask(cell, QUESTIONS["name_order"], *([turned] if turned else []), text)
        text = turned
    return Part(cell.text, "value", text, text)


def _part_people(text: str) -> tuple[str, ...]:
    """Returns the two people of `Ann & Bob Hill`; none for the name of one."""
    pieces = [p.strip(" ,;") for p in _TWO_PEOPLE.split(text)]
    if len(pieces) != 2 or not all(any(c.isalpha() for c in piece) for piece in pieces):
        return ()
    one, other = pieces
    return (one if " " in one else f"{one} {other.split()[-1]}", other)


def part_hand(text: str) -> tuple[str, str]:
    """Returns a name, and the hand of the mark behind it, `(L)`, `, left-handed`, `/ r`; empty if there is none.

    Elsewhere such a word is part of the name. Behind a single word `Hill, L.H.` may be initials and `Loo, Lefty` a
    first name: they stay.
    """
    plain, found = tidy(text), set[str]()
    for pattern in (_IN_BRACKETS, _BEHIND_SIGN, _BEHIND_NAME):
        marked = pattern.search(plain)
        if not marked or _is_of_name(plain, marked):
            continue
        found.add("left" if marked["mark"][0].lower() in "ls" else "right")
        plain = tidy(f"{plain[: marked.start()]} {plain[marked.end() :]}").strip(" ,;/|-–—")
    return plain.strip(" ,;"), found.pop() if len(found) == 1 else ""


def _is_of_name(plain: str, marked: re.Match[str]) -> bool:
    mark, before, behind = marked["mark"].lower(), plain[: marked.start()], plain[marked.end() :]
    if marked.re is _IN_BRACKETS:
        return mark in _NICKNAMES and bool(behind.strip())
    return marked.re is _BEHIND_SIGN and "hand" not in mark and len(re.findall(r"\w+", before)) < 2


def find_hand_in(text: str) -> str:
    """Returns the hand that a note names, `(LH)`, `left-handed`; empty if it names none or both."""
    found = {name for match in _HAND.finditer(text) for name, held in match.groupdict().items() if held}
    return found.pop() if len(found) == 1 else ""


def read_hand(cell: Cell, conventions: Conventions) -> Part:
    plain = re.sub(r"hand(?:ed|er)\b", "hand", re.sub(r"[./]", "", tidy(cell.text).lower())).replace(" hand", "")
    if not plain or says_unknown(plain):
        return Part(cell.text, "absent")
    hand = _HANDS.get(plain)
    if not hand or cell.kind in {"error", "date"}:
        return ask(cell, "Which hand?", "right", "left")
    return Part(cell.text, "value", hand, f"{hand} hand")


def read_phone(cell: Cell, conventions: Conventions) -> Part:
    """Reads a phone as typed; what a spreadsheet made a decimal or a power of ten of is put right or asked."""
    text = tidy(cell.text)
    if cell.is_empty or not text or text.lower() in {"n/a", "none", "-", "?", "unknown"}:
        return Part(cell.text, "absent")
    if cell.kind in {"error", "date", "logical", "time"} or _DAY.fullmatch(text):
        return ask(cell, "The spreadsheet made something else of this phone. What is it?", "")
    if re.fullmatch(r"\d{4,15}\.0+", text):
        whole = text.partition(".")[0]
        return Part(cell.text, "value", whole, whole)
    if power := re.fullmatch(r"(\d)[.,](\d+)[eE]\+?(\d{1,2})", text):
        digits, places = power[1] + power[2], int(power[3])
        kept = (digits.ljust(places + 1, "0"),) if len(digits) >= places else ()
        return ask(cell, "The spreadsheet made a power of ten of this phone, and figures may be lost.", *kept)
    if len(re.sub(r"\D", "", text)) < 4 or len(text) > 40:
        return ask(cell, "A phone number has at least four digits and at most 40 characters.", "")
    return Part(cell.text, "value", text, text)


def read_day(cell: Cell, conventions: Conventions) -> Part:
    """Reads the day of a fit as an ISO date; years of two figures are 1969 to 2068, as in POSIX."""
    text = tidy(cell.text)
    if cell.is_empty or not text or says_unknown(text):
        return Part(cell.text, "absent")
    if cell.kind == "date":
        return _tell_day(cell, text[:10])
    if serial := re.fullmatch(r"([2-5]\d{4})(?:\.0+)?", text):
        counted = date.fromordinal(date(1899, 12, 30).toordinal() + int(serial[1])).isoformat()
        return ask(cell, "A spreadsheet's count of days: is it this day?", counted)
    days = sorted(set(_list_days(text, conventions)))
    if len(days) == 1:
        return _tell_day(cell, days[0])
    return ask(cell, QUESTIONS["date_order"] if days else "That is no day that can be read.", *days)


def _tell_day(cell: Cell, day: str) -> Part:
    if int(day[:4]) < _EARLIEST_FIT:
        later = _make_day(int(day[:4]) + 100, int(day[5:7]), int(day[8:]))
        return ask(cell, "That is very long ago for a fit. Which day is it?", *later, day)
    return Part(cell.text, "value", day, day_words(day))


def _list_days(text: str, conventions: Conventions) -> list[str]:
    if iso := re.fullmatch(r"(\d{4})[-./](\d{1,2})[-./](\d{1,2})(?:[T ]00:00(?::00)?)?", text):
        return _make_day(int(iso[1]), int(iso[2]), int(iso[3]))
    if three := re.fullmatch(r"(\d{1,2})[-./](\d{1,2})[-./](\d{4}|\d{2})", text):
        a, b, year = int(three[1]), int(three[2]), _write_out(three[3])
        by_day, by_month = _make_day(year, b, a), _make_day(year, a, b)
        chosen = {"day": by_day, "month": by_month}.get(conventions.date_order)
        return by_day + by_month if chosen is None else chosen
    named = re.fullmatch(r"(\d{1,2})(?:st|nd|rd|th)?[-. ]+([a-z]{3,9})[-., ]+(\d{4}|\d{2})", text.lower())
    if named and named[2][:3] in _MONTHS:
        return _make_day(_write_out(named[3]), _MONTHS.index(named[2][:3]) + 1, int(named[1]))
    named = re.fullmatch(r"([a-z]{3,9})\.? (\d{1,2})(?:st|nd|rd|th)?,? (\d{4})", text.lower())
    if named and named[1][:3] in _MONTHS:
        return _make_day(int(named[3]), _MONTHS.index(named[1][:3]) + 1, int(named[2]))
    return []


def _write_out(year: str) -> int:
    return int(year) if len(year) == 4 else int(year) + (2000 if int(year) < 69 else 1900)


def _make_day(year: int, month: int, day: int) -> list[str]:
    try:
        return [date(year, month, day).isoformat()]
    except ValueError:
        return []
