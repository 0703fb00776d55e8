"""Reads one length, as written in the trade."""

import re
from collections.abc import Callable
from fractions import Fraction
from typing import TypeVar

from app.calculation.units import MM_PER_INCH, SIXTY_FOURTH
from app.measures.reading import SPAN, Ask, AskUnit, Quantity, Reading, Refuse
from app.measures.spelling import COMMA_TOLD, LONGEST_TEXT, clean, take_repeated
from app.measures.wording import exact, inches

T = TypeVar("T")

TRADE_DENOMINATORS = (1, 2, 4, 8, 16, 32, 64)
SHADE = SIXTY_FOURTH  # ASSUMED: what "heavy" or "shy" is worth; common practice, no source

_ABSENT = {"none", "n/a", "na", "-", "--"}
_UNKNOWN = {"unknown", "?", "??", "not known", "don't know", "unk"}
_ZERO = {"zero", "00", "straight", "nil", "flush"}
_INTEGER = r"\d{1,6}"
_FRACTION = rf"{_INTEGER}\s*/\s*{_INTEGER}"
_DECIMAL = rf"(?:\d{{1,6}}\.\d{{0,18}}|\.\d{{1,18}}|{_INTEGER})"
_DOT_FOR_GAP = r"\.\s?(?=\d+\s*/\s*(?:2|4|8|16|32|64)(?![\d.,]))"  # 4.3/16, but not 4.5/4.375
_GAP = rf"(?:\"\s*|\s|[-_+]\s*|{_DOT_FOR_GAP})"
_MIXED = rf"{_INTEGER}\s*{_GAP}{_FRACTION}"
NUMBER = rf"(?:{_MIXED}|{_FRACTION}|{_DECIMAL})"
_UNITS = {
    "in": '" in in. inch inches',
    "mm": "mm millimetre millimetres millimeter millimeters",
    "cm": "cm centimetre centimetres centimeter centimeters",
    "thou": "thou thousandth thousandths",
    "mil": "mil mils",
    "64ths": "64th 64ths",
}
_UNIT_WORDS = {word: unit for unit, words in _UNITS.items() for word in words.split()}
UNIT = "|".join(
    re.escape(u) + (r"(?![a-z])" if u[-1].isalpha() else "") for u in sorted(_UNIT_WORDS, key=len, reverse=True)
)
_SHADE_WORDS = {"+": 1, "full": 1, "strong": 1, "heavy": 1, "plus": 1, "-": -1, "shy": -1, "light": -1}
_SHADES = "|".join(re.escape(w) for w in _SHADE_WORDS)
_LENGTH = re.compile(rf"(?P<sign>[-+])?\s*(?P<number>{NUMBER})\s*(?P<unit>{UNIT})?(?P<shades>(?:\s*(?:{_SHADES}))*)")
_SUM = re.compile(
    rf"(?P<minus>-)?(?P<number>{NUMBER})\s*(?P<unit>{UNIT})?\s*(?P<sign>[-+])\s*"
    rf"(?P<rest>(?:{_FRACTION}|0?\.\d{{1,18}})(?:\s*(?:\"|in))?|{NUMBER}\s*(?:mm|thou\w*|64ths?))"
)
_WRITTEN_REMAINDER = Fraction(8, 1000)  # the largest remainder that `inches` writes after a 64th
_DATE = re.compile(r"\d{1,2}\s*-\s*(?:\d{1,2}|[a-z]{3,9})|[a-z]{3,9}\s*-\s*\d{1,2}|\d{4}-\d{1,2}-\d{1,2}")
_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")


def is_unknown(text: str) -> bool:
    """Whether a text says that the measure is not known; an empty text does not."""
    return len(text) <= LONGEST_TEXT and take_repeated(clean(text)) in _UNKNOWN


def read_by(text: str, parse: Callable[[str, list[str]], T]) -> Reading[T]:
    """Reads a text with `parse`, which takes the cleaned text and a list for warnings and may raise Ask or Refuse."""
    try:
        plain = take_repeated(clean(text))
        if not plain or plain in _ABSENT:
            return Reading(text, "absent")
        if plain in _UNKNOWN:
            return Reading(text, "unknown")
        warnings: list[str] = []
        value = parse(plain, warnings)
        return Reading(text, "value", value, tuple(warnings))
    except Ask as ask:
        return Reading(text, "ask", message=ask.message, choices=ask.choices)
    except Refuse as refuse:
        return Reading(text, "error", message=refuse.message)


def read_length(text: str, quantity: Quantity) -> Reading[Fraction]:
    """Reads one length in inches for a field that holds `quantity`."""
    return read_by(text, lambda plain, warnings: parse_length(plain, quantity, warnings))


def parse_length(plain: str, quantity: Quantity, warnings: list[str]) -> Fraction:
    """Parses a cleaned text as inches and appends to `warnings`; raises Ask or Refuse."""
    value, found = parse_length_and_warnings(plain.strip(), quantity)
    warnings += found
    return value


def parse_length_and_warnings(plain: str, quantity: Quantity) -> tuple[Fraction, list[str]]:
    """Parses a cleaned text as (inches, warnings); raises Ask or Refuse."""
    value, unit, warnings = _parse_value_and_unit(plain, quantity)
    an = "An" if quantity.name[0] in "aeio" else "A"
    if value < 0 and not quantity.is_signed:
        raise Refuse(f"{an} {quantity.name} cannot be negative.")
    if not quantity.low <= value <= quantity.high:
        _ask_for_the_unit(value, unit, quantity)
        raise Refuse(
            f"{an} {quantity.name} of {inches(value)} in is outside what can be: "
            f"{exact(quantity.low)} to {exact(quantity.high)} in."
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
        raise AskUnit(f"{number}: inches or mm? Write the unit.", *choices, f"{number} in")


def _parse_value_and_unit(plain: str, quantity: Quantity) -> tuple[Fraction, str, list[str]]:
    if plain in _ZERO:
        return Fraction(0), "in", []
    _ask_about_dates(plain)
    _ask_about_commas(plain)
    _ask_about_spaces(plain)
    points = use_decimal_points(plain)
    told = [COMMA_TOLD] if points != plain else []
    match = _LENGTH.fullmatch(points) or _LENGTH.fullmatch(_move_unit_behind(points))
    if not match:
        summed = _SUM.fullmatch(points)
        if not summed:
            _explain(plain)
        assert summed is not None
        value, warnings = _parse_sum(summed, quantity)
        return value, "in", told + warnings
    value, warnings = parse_number(match["number"])
    unit = _UNIT_WORDS[match["unit"]] if match["unit"] else ""
    value = _convert_to_inches(value, unit, match["number"])
    if match["sign"] == "-":
        value = -value
    elif match["sign"] == "+" and not quantity.is_signed:
        raise Ask("A plus in front: more than what? Write the whole number.")
    value, shading = _shade(value, match["shades"], match["number"], quantity)
    return value, unit, told + warnings + shading


def use_decimal_points(plain: str) -> str:
    """Replaces commas between figures by points, where they can only be decimal commas."""
    return re.sub(r"(?<=\d),(?=\d)", ".", plain)


def _convert_to_inches(value: Fraction, unit: str, written: str) -> Fraction:
    if unit == "mil":
        raise Ask("Mil: thousandths of an inch, or millimetres?", f"{written} thou", f"{written} mm")
    if unit == "64ths" and written.isdecimal():
        _ask_about_run_together(written, "64")
    scale = {"mm": 1 / MM_PER_INCH, "cm": 10 / MM_PER_INCH, "thou": Fraction(1, 1000), "64ths": SIXTY_FOURTH}
    return value * scale.get(unit, Fraction(1))


def _shade(value: Fraction, shades: str, written: str, quantity: Quantity) -> tuple[Fraction, list[str]]:
    """Adds or subtracts a 64th for a word such as heavy or shy: (value, warnings); raises Ask where that is unclear."""
    words = re.findall(_SHADES, shades)
    if not words:
        return value, []
    one = value + _SHADE_WORDS[words[0]] * SHADE
    if len(words) > 1:
        every = value + sum(_SHADE_WORDS[w] for w in words) * SHADE
        raise Ask(f"“{shades.strip()}”: how much more or less is that?", exact(one), exact(every), exact(value))
    (word,) = words
    if word == "full" and quantity is SPAN:
        raise Ask(
            "Full: a heavy 64th, or finished edges? Edges are told where they are asked.",
            f"{written} heavy", written,
        )  # fmt: skip
    if quantity.is_signed or abs(value) < 4 * SHADE or (word in "+-" and written.isdecimal()):
        raise Ask(f"“{word}” behind {written}: a 64th more or less, or nothing?", exact(one), exact(value))
    return one, [f"“{word}” was read as 1/64 {'over' if one > value else 'under'}: {inches(one)}."]


def _parse_sum(match: re.Match[str], quantity: Quantity) -> tuple[Fraction, list[str]]:
    """Adds up a size and an amount, as in 4 3/8 + 1/64: (value, warnings); raises Ask where - may be a hyphen."""
    base, warnings = parse_number(match["number"])
    base = _convert_to_inches(base, _UNIT_WORDS[match["unit"]] if match["unit"] else "", match["number"])
    written = re.fullmatch(rf"(.+?)\s*({UNIT})?", match["rest"])
    assert written is not None
    rest, more = parse_number(written[1])
    rest = _convert_to_inches(rest, _UNIT_WORDS[written[2]] if written[2] else "", written[1])
    if match["minus"]:
        base = -base
    total = base + (rest if match["sign"] == "+" else -rest)
    is_joined = base.denominator == 1 and match["sign"] == "+" and rest < 1 and not match["minus"]
    is_small = rest <= SIXTY_FOURTH * 8 and rest * 8 <= abs(base) and base.denominator != 1
    if rest <= _WRITTEN_REMAINDER or is_joined or is_small:
        return total, warnings + more
    possible = [x for x in (base + rest, base - rest) if quantity.low <= x <= quantity.high]
    if not possible or rest >= 1:
        _explain(match[0])
    raise Ask(f"“{match[0]}”: a sum, or a hyphen? Which is meant?", *(exact(x) for x in possible))


def _move_unit_behind(plain: str) -> str:
    """Rewrites 4 in 3/8 and 4" 3/8 as 4 3/8 in."""
    return re.sub(rf"^({_INTEGER})\s*(?:in|\")\s*({_FRACTION})$", r"\1 \2 in", plain)


def parse_number(text: str) -> tuple[Fraction, list[str]]:
    """Parses a number without a unit in one of the trade's spellings: (value, warnings); raises Ask or Refuse."""
    mixed = re.fullmatch(rf"({_INTEGER})\s*{_GAP}({_INTEGER})\s*/\s*({_INTEGER})", text)
    if mixed:
        value, warnings = _parse_fraction(mixed[2], mixed[3])
        if value >= 1 and "." in text:
            raise Refuse(f"{text}: a dot, and more above the line than below it. Write it like 4 3/8.")
        if value >= 1:
            raise Ask(f"{text}: the fraction is one inch or more. Which is meant?", inches(int(mixed[1]) + value))
        return int(mixed[1]) + value, warnings
    fraction = re.fullmatch(rf"({_INTEGER})\s*/\s*({_INTEGER})", text)
    if fraction:
        _ask_about_run_together(fraction[1], fraction[2])
        return _parse_fraction(fraction[1], fraction[2])
    return Fraction(text), []


def _parse_fraction(top: str, bottom: str) -> tuple[Fraction, list[str]]:
    if int(bottom) == 0:
        raise Refuse("A fraction cannot have 0 below the line.")
    warnings = []
    if int(bottom) not in TRADE_DENOMINATORS:
        warnings.append(f"{top}/{bottom}: the trade writes halves to 64ths.")
    return Fraction(int(top), int(bottom)), warnings


def _ask_about_run_together(top: str, bottom: str) -> None:
    """Raises Ask for a text such as 43/8: 4 3/8 without its space, or five and three eighths."""
    if int(bottom) > 64 or int(top) <= int(bottom):
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
    stroke = re.fullmatch(r"(\d+),(\d+ ?/ ?\d+)(.*)", plain)
    if stroke:
        raise Ask("A comma before a fraction: one size?", f"{stroke[1]} {stroke[2]}{stroke[3]}")
    thousands = re.fullmatch(rf"([1-9]\d{{0,2}}),(\d{{3}})\s*({UNIT})?", plain)
    if thousands:
        whole, rest = thousands[1], thousands[2]
        raise Ask(f"{whole},{rest}: a decimal comma, or thousands?", f"{whole}.{rest}", f"{whole}{rest}")


def _ask_about_spaces(plain: str) -> None:
    three = re.fullmatch(r"(\d) (\d{1,2}) (\d{1,2})(?: ?(?:in|\"))?", plain)
    if three and int(three[3]) > int(three[2]):
        raise Ask("Is there a stroke missing?", f"{three[1]} {three[2]}/{three[3]}")


def _explain(plain: str) -> None:
    """Raises Ask or Refuse with the most helpful sentence for a text that is not a length."""
    if plain.count("/") > 1:
        raise Refuse("There are two strokes in that. Write one fraction, such as 4 3/8.")
    if re.fullmatch(rf"{NUMBER}\s*'.*", plain):
        raise Ask("One stroke ' means feet. Are inches meant?", re.sub(r"'", '"', plain))
    if re.search(r"[a-z]", plain):
        raise Refuse(f"“{plain}” is no measure that can be read. Write it like 4 3/8, 4.375 or 111.1 mm.")
    raise Refuse("That is no measure that can be read. Write it like 4 3/8, 4.375 or 111.1 mm.")
