"""Reads one cell as one part of a measure: as typed, as read in the app's own writing, and read back in words."""

import re
from dataclasses import dataclass, field, replace
from fractions import Fraction
from functools import lru_cache
from typing import Literal

from app.measures.describe import describe as describe_anew
from app.measures.lengths import is_unknown, read_length
from app.measures.reading import QUANTITIES, Quantity, Reading, Refuse
from app.measures.spelling import COMMA_TOLD, LONGEST_TEXT, clean
from app.measures.wording import exact, in_words
from app.sheets.cells import NOT_WORKED_OUT, Cell
from app.sheets.conventions import QUESTIONS, Conventions
from app.sheets.damages import MOST_CHOICES, day_words, find_written_date, list_fractions_of_date, list_readings

PartState = Literal["value", "absent", "unknown", "ask"]
describe = lru_cache(20_000)(describe_anew)  # a sheet says the same measures again and again
_SAME = re.compile(r'(?:the )?same(?: as .*)?|as before|ditto|do|idem|"|〃', re.I)
_UNSEEN = re.compile("[\u200b-\u200f\u2060\ufeff\u00ad]")
_BARE = re.compile(r"[-+]?(?:\d+(?:\.\d*)?|\.\d+)")
_FRACTION = re.compile(r"\d\s*/\s*\d")


@dataclass(frozen=True)
class Part:
    """What came of one cell: `as_read` is text that the app's forms read to exactly the value; empty when asked."""

    as_typed: str
    state: PartState
    as_read: str = ""
    words: str = ""
    message: str = ""
    choices: tuple[str, ...] = ()
    told: tuple[str, ...] = field(default=())


ERROR_TOLD = "The spreadsheet shows an error here. What is the measure?"
NOT_WORKED_OUT_TOLD = (
    "A formula that the file has no result of, or an error. Opened and saved in a spreadsheet, the file has it. "
    "What is the measure?"
)


def ask(cell: Cell, message: str, *choices: str) -> Part:
    return Part(cell.text, "ask", message=message, choices=tuple(dict.fromkeys(choices))[:MOST_CHOICES])


def ask_convention(cell: Cell, name: str, *choices: str) -> Part:
    return ask(cell, QUESTIONS[name], *choices)


def make_empty(cell: Cell, is_unknown: bool) -> Part:
    """Returns the part of a cell that says that nothing is there, or that it is not known."""
    return Part(cell.text, "unknown", "unknown", "unknown") if is_unknown else Part(cell.text, "absent")


ABSENT = Part("", "absent")


def tidy(text: str) -> str:
    """Returns a text without a leading apostrophe, gaps at its ends or doubled, no-break and unseen ones included."""
    seen = text if text.isascii() else _UNSEEN.sub("", text)
    return " ".join(seen.split()).removeprefix("'")


def says_same(text: str) -> bool:
    return not text[:1].isdigit() and bool(_SAME.fullmatch(tidy(text)))


def says_unknown(text: str) -> bool:
    try:
        return is_unknown(text)
    except Refuse:  # it says that something repeats
        return False


def find_damage(cell: Cell) -> Part | None:
    """Returns what a cell of a measure is when it is no text or number at all; None if it is to be read."""
    text = tidy(cell.text)
    if cell.is_empty or not text:
        return Part(cell.text, "absent")
    if cell.kind == "error":
        return ask(cell, ERROR_TOLD if text != NOT_WORKED_OUT else NOT_WORKED_OUT_TOLD, "unknown")
    if cell.kind == "date":
        fractions = list_fractions_of_date(text)
        return ask(cell, f"The spreadsheet made a date of this: {day_words(text)}. Which is meant?", *fractions)
    if cell.kind in {"time", "logical"}:
        return ask(cell, f"The spreadsheet made “{text}” of this. What is the measure?", "unknown")
    written = find_written_date(text)
    return ask(cell, f"“{text}” is a date. Which is meant?", *written) if written else None


def put_unit(text: str, conventions: Conventions, unit: str) -> str:
    """Returns the text with the file's unit behind a bare number, and a decimal comma as a point where it is one."""
    if conventions.comma == "decimal":
        text = re.sub(r"(?<=\d),(?=\d)", ".", text)
    suffix = {"mm": " mm", "deg": "°"}.get(unit, "")
    return f"{text}{suffix}" if suffix and _BARE.fullmatch(text) and float(text) else text


def clean_text(text: str) -> str:
    """Returns a text in the plain spelling of measures, or its beginning where it is far too long for one."""
    try:
        return clean(tidy(text))
    except Refuse:
        return tidy(text)[:LONGEST_TEXT]


def read_length_part(cell: Cell, name: str, conventions: Conventions, unit: str = "") -> Part:
    """Reads one length of the quantity `name`; whatever is unusual for it is asked rather than warned of."""
    quantity = QUANTITIES[name]
    plain = clean_text(cell.text)
    unit = unit or conventions.units
    text = put_unit(plain, conventions, unit)
    if unit == "mm" and _FRACTION.search(text) and "mm" not in text:
        bare = text.rstrip(' "').removesuffix("in").strip()
        if bare == text:
            return ask(cell, "A fraction among millimetres: is it in inches?", f"{text} in")
    if not unit and _BARE.fullmatch(text) and float(text):
        as_inches = (text,) if _is_usual(text, quantity) else ()
        as_mm = (f"{text} mm",) if _is_usual(f"{text} mm", quantity) else ()
        return ask_convention(cell, "units", *as_inches, *as_mm, *list_readings(plain, quantity))
    return judge_length(cell, text, read_length(text, quantity), quantity)


def _is_usual(text: str, quantity: Quantity) -> bool:
    value = read_length(text, quantity).value
    return value is not None and quantity.usual_low <= value <= quantity.usual_high


def judge_length(cell: Cell, text: str, reading: Reading[Fraction], quantity: Quantity) -> Part:
    """Returns the part of a reading of a length: asked if unusual, shaded, or a decimal that may be a fraction."""
    if reading.state in {"absent", "unknown"}:
        return make_empty(cell, reading.state == "unknown")
    if reading.value is None:
        plain = text.removesuffix(" mm")
        more = (text[:-3] + " in",) if text.endswith(" mm") else ()
        offered = list_readings(plain, quantity, lambda: more)
        return ask(cell, reading.message, *offered, *reading.choices)
    written = write_length(reading.value, text)
    if text.count("/") > 1:
        return ask(cell, "Two fractions: a sum, or two measures?", written, *list_readings(text, quantity))
    doubts = [w for w in reading.warnings if not w.startswith("Not on a 64th")]
    is_short = bool(re.fullmatch(r"\d*\.\d", text)) and (reading.value * 64).denominator != 1
    if doubts or is_short:
        offered = list_readings(text.removesuffix(" mm"), quantity)
        doubt = "One decimal that is on no 64th: a decimal, or a fraction?" if not doubts else doubts[0]
        return ask(cell, doubt, written, *offered, *_without_shade(text, quantity))
    return Part(cell.text, "value", written, in_words(reading.value), told=reading.warnings)


def _without_shade(text: str, quantity: Quantity) -> tuple[str, ...]:
    bare = re.sub(r"\s*(?:[-+]|full|strong|heavy|plus|shy|light)$", "", text)
    value = read_length(bare, quantity).value if bare != text else None
    return (exact(value),) if value is not None else ()


def write_length(value: Fraction, text: str) -> str:
    """Writes a length so that it is read back to exactly this value, in millimetres where it was typed so."""
    return text if re.search(r"[mc]m\b|millim|centim", text) else exact(value)


def needs_comma(text: str, conventions: Conventions) -> bool:
    return bool(re.search(r"\d,\d", text)) and not conventions.comma


def read_described(cell: Cell, kind: str, text: str, hand: str = "", hole: str = "") -> Part:
    """Reads a text as a measure of one of the KINDS of `describe`, asking where that warns of something unusual."""
    told = describe(kind, text, hand, hole)
    reading = told.reading
    if reading.state in {"absent", "unknown"}:
        return make_empty(cell, reading.state == "unknown")
    if reading.state != "value":
        return ask(cell, reading.message, *reading.choices)
    doubts = [w for w in reading.warnings if w.startswith("Unusual") or w == COMMA_TOLD]
    if doubts:
        return ask(cell, doubts[0], text)
    return Part(cell.text, "value", text, told.words, told=reading.warnings)


def offer_possible(part: Part, kind: str, hole: str = "") -> Part:
    """Returns an asked part without the choices that its field could not take, unless that leaves none."""
    known = {"value", "absent", "unknown"}
    possible = tuple(c for c in part.choices if describe(kind, c, "right", hole, "middle").reading.state in known)
    return replace(part, choices=possible) if part.state == "ask" and possible else part
