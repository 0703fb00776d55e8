"""One length, as written in the trade."""

import re
import unicodedata
from collections.abc import Callable
from fractions import Fraction
from typing import TypeVar

from app.calculation.units import MM_PER_INCH, SIXTY_FOURTH
from app.measures.reading import Ask, Quantity, Reading, Refuse
from app.measures.wording import DENOMINATOR_WORDS, SMALL_WORDS, inches

T = TypeVar("T")

LONGEST_TEXT = 120
TRADE_DENOMINATORS = (1, 2, 4, 8, 16, 32, 64)
SHADE = SIXTY_FOURTH  # ASSUMED: what "heavy" or "shy" is worth; common practice, no source

_ABSENT = {"none", "n/a", "na", "-", "--"}
_UNKNOWN = {"unknown", "?", "??", "not known", "don't know", "unk"}
_ZERO = {"zero", "00", "straight", "nil", "flush"}
_REPLACED = str.maketrans({
    "⁄": "/", "∕": "/", "／": "/", "−": "-", "–": "-", "—": "-", "‐": "-", "‑": "-", "﹣": "-", "×": " x ", "✕": " x ",
    "“": '"', "”": '"', "„": '"', "‟": '"', "‘": "'", "’": "'", "′": "'", "º": "°", "˚": "°", "‴": "'''",
})  # fmt: skip

_INTEGER = r"\d{1,6}"
_FRACTION = rf"{_INTEGER}\s*/\s*{_INTEGER}"
_DECIMAL = rf"(?:\d{{1,6}}\.\d{{0,18}}|\.\d{{1,18}}|{_INTEGER})"
_MIXED = rf"{_INTEGER}\s*(?:\"\s*|\s|[-_+]\s*){_FRACTION}"
NUMBER = rf"(?:{_MIXED}|{_FRACTION}|{_DECIMAL})"
_UNIT_WORDS = {
    '"': "in", "in": "in", "in.": "in", "inch": "in", "inches": "in", "mm": "mm", "millimetres": "mm",
    "millimeters": "mm", "cm": "cm", "thou": "thou", "thousandths": "thou", "mil": "thou", "mils": "thou",
    "64ths": "64ths", "64th": "64ths",
}  # fmt: skip
UNIT = "|".join(
    re.escape(u) + (r"(?![a-z])" if u[-1].isalpha() else "") for u in sorted(_UNIT_WORDS, key=len, reverse=True)
)
_SHADE_WORDS = {"+": 1, "full": 1, "strong": 1, "heavy": 1, "plus": 1, "-": -1, "shy": -1, "light": -1}
_SHADES = "|".join(re.escape(w) for w in _SHADE_WORDS)
_LENGTH = re.compile(rf"(?P<sign>[-+])?\s*(?P<number>{NUMBER})\s*(?P<unit>{UNIT})?(?P<shades>(?:\s*(?:{_SHADES}))*)")
_REMAINDER = re.compile(
    rf"(?P<number>{_MIXED}|{_FRACTION}|{_INTEGER})\s*(?P<sign>[-+])\s*(?P<rest>0?\.\d{{1,18}})\s*(?P<unit>\"|in)?"
)
_DATE = re.compile(r"\d{1,2}\s*-\s*(?:\d{1,2}|[a-z]{3,9})|[a-z]{3,9}\s*-\s*\d{1,2}|\d{4}-\d{1,2}-\d{1,2}")
_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")


def clean(text: str) -> str:
    """The text in plain lower-case characters: Unicode fractions, primes, full-width digits and odd spaces folded."""
    if len(text) > LONGEST_TEXT:
        raise Refuse(f"That is {len(text):,} characters. A measure is short, such as 4 3/8.")
    spaced = "".join(" " + c + " " if unicodedata.decomposition(c).startswith("<fraction>") else c for c in text)
    spaced = spaced.replace("º", "°").replace("˚", "°")
    plain = unicodedata.normalize("NFKC", spaced.translate(_REPLACED)).translate(_REPLACED).lower()
    return re.sub(r"\s+", " ", plain.replace("''", '"')).strip()


def is_unknown(text: str) -> bool:
    """Whether a typed text says that the measure is not known, which is not the same as saying nothing."""
    return len(text) <= LONGEST_TEXT and clean(text) in _UNKNOWN


def read_by(text: str, of: Callable[[str, list[str]], T]) -> Reading[T]:
    """Reads a text with `of`, which gets it cleaned and a list for its warnings, and may raise Ask or Refuse."""
    try:
        plain = clean(text)
        if not plain or plain in _ABSENT:
            return Reading(text, "absent")
        if plain in _UNKNOWN:
            return Reading(text, "unknown")
        warnings: list[str] = []
        value = of(plain, warnings)
        return Reading(text, "value", value, tuple(warnings))
    except Ask as ask:
        return Reading(text, "ask", message=ask.message, choices=ask.choices)
    except Refuse as refuse:
        return Reading(text, "error", message=refuse.message)


def read_length(text: str, quantity: Quantity) -> Reading[Fraction]:
    """Reads one length in inches for a field that holds `quantity`."""
    return read_by(text, lambda plain, warnings: length_with(plain, quantity, warnings))


def length_with(plain: str, quantity: Quantity, warnings: list[str]) -> Fraction:
    """Inches of a cleaned text, adding to `warnings`; raises Ask or Refuse."""
    value, found = length_of(plain.strip(), quantity)
    warnings += found
    return value


def length_of(plain: str, quantity: Quantity) -> tuple[Fraction, list[str]]:
    """(inches, warnings) of a cleaned text; raises Ask or Refuse."""
    value, unit, warnings = _value_and_unit(plain, quantity)
    if value < 0 and not quantity.is_signed:
        raise Refuse(f"A {quantity.name} cannot be negative.")
    if not quantity.low <= value <= quantity.high:
        _ask_for_the_unit(value, unit, quantity)
        raise Refuse(
            f"A {quantity.name} of {inches(value)} in is outside what can be: "
            f"{inches(quantity.low)} to {inches(quantity.high)} in."
        )
    if not quantity.usual_low <= value <= quantity.usual_high:
        warnings.append(
            f"Unusual: a {quantity.name} is mostly {inches(quantity.usual_low)} to {inches(quantity.usual_high)} in."
        )
    if (value * 64).denominator != 1 and unit not in {"mm", "cm"}:
        warnings.append(f"Not on a 64th: {inches(value)}.")
    return value, warnings


def _ask_for_the_unit(value: Fraction, unit: str, quantity: Quantity) -> None:
    if unit:
        return
    number = f"{float(value):g}"
    choices = []
    if quantity.low <= value / MM_PER_INCH <= quantity.high:
        choices.append(f"{number} mm")
    if value.denominator == 1 and value < 64 and quantity.low <= value / 64 <= quantity.high:
        choices.append(f"{number}/64")
    if value.denominator == 1 and value >= 64 and quantity.low <= value / 1000 <= quantity.high:
        choices.append(f"{number} thou")
    if choices:
        raise Ask(f"{number}: inches or mm? Write the unit.", *choices, f"{number} in")


def _value_and_unit(plain: str, quantity: Quantity) -> tuple[Fraction, str, list[str]]:
    if plain in _ZERO:
        return Fraction(0), "in", []
    _ask_about_dates(plain)
    _ask_about_commas(plain)
    _ask_about_spaces(plain)
    remainder = _REMAINDER.fullmatch(plain)
    if remainder:
        rest = Fraction("0" + remainder["rest"].lstrip("0"))
        value, warnings = number_of(remainder["number"])
        return value + (rest if remainder["sign"] == "+" else -rest), "in", warnings
    spoken = _spoken(plain)
    if spoken is not None:
        return spoken, "in", []
    commas = re.sub(r"(?<=\d),(?=\d)", ".", plain)
    match = _LENGTH.fullmatch(commas) or _LENGTH.fullmatch(_unit_before_fraction(commas))
    if not match:
        _explain(plain)
    assert match is not None
    value, warnings = number_of(match["number"])
    if commas != plain:
        warnings.append("The comma was read as a decimal point.")
    unit = _UNIT_WORDS[match["unit"]] if match["unit"] else ""
    value = _in_inches(value, unit)
    if match["sign"] == "-":
        value = -value
    elif match["sign"] == "+" and not quantity.is_signed:
        raise Ask("A plus in front: more than what? Write the whole number.")
    for word in re.findall(_SHADES, match["shades"]):
        value += _SHADE_WORDS[word] * SHADE
        warnings.append(f"“{word}” was read as 1/64 {'over' if _SHADE_WORDS[word] > 0 else 'under'}: {inches(value)}.")
    return value, unit, warnings


def _in_inches(value: Fraction, unit: str) -> Fraction:
    scale = {"mm": 1 / MM_PER_INCH, "cm": 10 / MM_PER_INCH, "thou": Fraction(1, 1000), "64ths": SIXTY_FOURTH}
    return value * scale.get(unit, Fraction(1))


def _unit_before_fraction(plain: str) -> str:
    """4 in 3/8 and 4" 3/8 mean 4 3/8 in."""
    return re.sub(rf"^({_INTEGER})\s*(?:in|\")\s*({_FRACTION})$", r"\1 \2 in", plain)


def number_of(text: str) -> tuple[Fraction, list[str]]:
    """(value, warnings) of a bare number in one of the trade's spellings; raises Ask or Refuse."""
    mixed = re.fullmatch(rf"({_INTEGER})\s*(?:\"\s*|\s|[-_+]\s*)({_INTEGER})\s*/\s*({_INTEGER})", text)
    if mixed:
        value, warnings = _fraction(mixed[2], mixed[3])
        if value >= 1:
            raise Ask(f"{text}: the fraction is one inch or more. Which is meant?", inches(int(mixed[1]) + value))
        return int(mixed[1]) + value, warnings
    fraction = re.fullmatch(rf"({_INTEGER})\s*/\s*({_INTEGER})", text)
    if fraction:
        _ask_about_run_together(fraction[1], fraction[2])
        return _fraction(fraction[1], fraction[2])
    return Fraction(text if text[-1] != "." else text[:-1]), []


def _fraction(top: str, bottom: str) -> tuple[Fraction, list[str]]:
    if int(bottom) == 0:
        raise Refuse("A fraction cannot have 0 below the line.")
    warnings = []
    if int(bottom) not in TRADE_DENOMINATORS:
        warnings.append(f"{top}/{bottom}: the trade writes halves to 64ths.")
    return Fraction(int(top), int(bottom)), warnings


def _ask_about_run_together(top: str, bottom: str) -> None:
    """43/8 may be 4 3/8 with the gap left out, or five and three eighths."""
    if int(bottom) == 0 or int(top) <= int(bottom):
        return
    readings = []
    for cut in range(1, len(top)):
        whole, rest = top[:cut], top[cut:]
        if 0 < int(rest) < int(bottom) and not rest.startswith("0"):
            readings.append(f"{whole} {rest}/{bottom}")
    if readings:
        raise Ask(
            f"{top}/{bottom} can be read in more than one way.",
            *readings,
            inches(Fraction(int(top), int(bottom))),
        )


def _ask_about_dates(plain: str) -> None:
    if not _DATE.fullmatch(plain):
        return
    words = re.findall(r"[a-z]+", plain)
    if words and not any(w.startswith(_MONTHS) for w in words):
        return
    digits = re.findall(r"\d+", plain)
    choices = [f"{digits[0]}/{digits[1]}"] if len(digits) == 2 else []
    if len(digits) == 2:
        choices += [f"{digits[0]} {digits[1]}/{d}" for d in (8, 16) if int(digits[1]) < d]
    raise Ask(f"“{plain}” looks like a date, or like a fraction that lost its stroke. Which is meant?", *choices)


def _ask_about_commas(plain: str) -> None:
    thousands = re.fullmatch(rf"(\d{{1,3}}),(\d{{3}})\s*({UNIT})?", plain)
    if thousands:
        whole, rest = thousands[1], thousands[2]
        raise Ask(f"{whole},{rest}: a decimal comma, or thousands?", f"{whole}.{rest}", f"{whole}{rest}")


def _ask_about_spaces(plain: str) -> None:
    three = re.fullmatch(r"(\d) (\d{1,2}) (\d{1,2})(?: ?(?:in|\"))?", plain)
    if three and int(three[3]) > int(three[2]):
        raise Ask("Is there a stroke missing?", f"{three[1]} {three[2]}/{three[3]}")


def _spoken(plain: str) -> Fraction | None:
    """Four and three eighths; fifteen thirty-seconds; one half."""
    words = plain.replace("-", " ").split()
    if not words or not all(w.isalpha() for w in words):
        return None
    words = [w for w in words if w not in {"inch", "inches", "an", "a", "of"}]
    whole, _, part = " ".join(words).partition(" and ")
    total = Fraction(0)
    for piece in (whole, part) if part else (whole,):
        value = _spoken_piece(piece.split())
        if value is None:
            return None
        total += value
    return total


def _spoken_piece(words: list[str]) -> Fraction | None:
    for size in (2, 1):
        denominator = DENOMINATOR_WORDS.get(" ".join(words[-size:]))
        if denominator and len(words) >= size:
            count = _counted(words[:-size]) if len(words) > size else 1
            return None if count is None else Fraction(count, denominator)
    count = _counted(words)
    return None if count is None else Fraction(count)


def _counted(words: list[str]) -> int | None:
    if not words or len(words) > 2 or any(w not in SMALL_WORDS for w in words):
        return None
    values = [SMALL_WORDS[w] for w in words]
    if len(values) == 2 and not (values[0] >= 20 and values[0] % 10 == 0 and 0 < values[1] < 10):
        return None
    return sum(values)


def _explain(plain: str) -> None:
    """Raises with the most helpful sentence for a text that is no length."""
    if plain.count("/") > 1:
        raise Refuse("There are two strokes in that. Write one fraction, such as 4 3/8.")
    if re.fullmatch(rf"{NUMBER}\s*'.*", plain):
        raise Ask("One stroke ' means feet. Are inches meant?", re.sub(r"'", '"', plain))
    if re.search(r"[a-z]", plain):
        raise Refuse(f"“{plain}” is no measure that can be read. Write it like 4 3/8, 4.375 or 111.1 mm.")
    raise Refuse("That is no measure that can be read. Write it like 4 3/8, 4.375 or 111.1 mm.")
