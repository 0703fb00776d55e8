"""Reads depths with their datum, heights with their side (proud or sunk), and weights."""

import re
from dataclasses import dataclass
from fractions import Fraction

from app.measures.lengths import NUMBER, parse_length, parse_number, read_by, use_decimal_points
from app.measures.reading import DEPTH, PROUD, Ask, Quantity, Reading, Refuse, ask_within
from app.measures.spelling import COMMA_TOLD
from app.measures.wording import exact

# Depths and heights -------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class WrittenDepth:
    """A depth in inches and the datum the text names, empty when it names none."""

    depth_in: Fraction
    datum: str


_FROM = r"(?:from|at|off|on|to|below|under)?\s*(?:the\s+)?"
_DATUM_WORDS = {
    rf"{_FROM}(?:drill(?:ing)?\s+)?(?:collar|shoulder|stop)(?:\s+(?:setting|depth|reading))?": "collar",
    rf"{_FROM}crown": "crown",
    rf"{_FROM}high (?:edge|rim|side)": "rim_high",
    rf"{_FROM}low (?:edge|rim|side)": "rim_low",
}
_DATUM_WRITTEN = {"collar": "collar", "crown": "crown", "rim_high": "high edge", "rim_low": "low edge"}
_DEEP = r"\s*(?:deep|depth)?\s*,?\s*"


def _parse_part(plain: str, size: str, quantity: Quantity, warnings: list[str]) -> Fraction:
    """Parses a part of a text as a length; a question offers the whole text with that part replaced."""
    return ask_within(lambda: parse_length(size, quantity, warnings), lambda choice: plain.replace(size, choice, 1))


def read_depth(text: str) -> Reading[WrittenDepth]:
    """Reads `2 1/2 deep`, `2 9/16 from crown`: a depth in inches, with its datum where the text names one."""

    def parse(plain: str, warnings: list[str]) -> WrittenDepth:
        plain = re.sub(r"^(?:deep|depth)\s*[:=]?\s*", "", plain)
        for pattern, datum in _DATUM_WORDS.items():
            match = re.fullmatch(rf"(?P<size>.*?\d.*?){_DEEP}\(?(?:{pattern})\)?", plain) or re.fullmatch(
                rf"(?:{pattern})\s*(?:at|to|set(?: at| to)?|[:=])?\s*(?P<size>[\d.].*?){_DEEP}", plain
            )
            if match:
                if re.search(r"\s-$", match["size"]):
                    bare, words = match["size"][:-1].strip(), _DATUM_WRITTEN[datum]
                    raise Ask("A dash before a word: 1/64 less, or nothing?", f"{bare} {words}", f"{bare} shy {words}")
                return WrittenDepth(_parse_part(plain, match["size"], DEPTH, warnings), datum)
        if re.search(r"\bflat\b|straight ?edge", plain):
            raise Ask("A straight edge across the mouth is no datum of its own. From the high or the low edge?")
        return WrittenDepth(parse_length(re.sub(rf"{_DEEP}$", "", plain), DEPTH, warnings), "")

    return read_by(text, parse)


_ABOVE, _BELOW = r"proud|high|above|up", r"sunk|low|below|under|recessed|down"
_HEIGHT = re.compile(
    rf"(?:(?P<before>{_ABOVE}|{_BELOW})\s+(?:by\s+)?)?(?P<size>.*?)(?:\s*(?P<after>{_ABOVE}|{_BELOW}))?"
)


def read_proud(text: str) -> Reading[Fraction]:
    """Reads `1/32 proud`, `1/64 sunk`, `flush` as inches above the ball, sunk being negative; a bare size asks."""
    return read_by(text, _parse_height)


def _parse_height(plain: str, warnings: list[str]) -> Fraction:
    match = _HEIGHT.fullmatch(plain)
    assert match is not None
    ways = [w for w in (match["before"], match["after"]) if w]
    shaded = re.fullmatch(r"(.*\d.*?)\s*([-+]|full|strong|heavy|plus|shy|light)", match["size"])
    if shaded:
        bare = re.sub(rf"\s*(?:{_ABOVE}|{_BELOW})$", "", shaded[1]).lstrip("+- ")
        raise Ask(f"“{shaded[2]}” behind a height: proud or sunk, and how far?", f"{bare} proud", f"{bare} sunk")
    size = _parse_part(plain, match["size"], PROUD, warnings)
    is_signed = match["size"][:1] in {"+", "-"}
    is_sunk = {bool(re.fullmatch(_BELOW, w)) for w in ways} or ({size < 0} if is_signed else set())
    if len(is_sunk) > 1 or (ways and is_signed) or (size and not is_sunk):
        message = "A sign and a word. Which is meant?" if is_sunk else "Proud or sunk?"
        raise Ask(message, f"{exact(abs(size))} proud", f"{exact(abs(size))} sunk")
    return -abs(size) if is_sunk == {True} else abs(size)


# Weights ------------------------------------------------------------------------------------------------------

_KILOGRAM_LB = 1 / Fraction("0.45359237")  # exact by definition, international yard and pound agreement of 1959
_WEIGHT = re.compile(
    rf"(?P<lb>{NUMBER})(?:\s*(?P<unit>lbs?|pounds?|#))?"
    rf"(?:(?P<mark>\s*(?:-|,|and\b|&)?\s*)(?P<oz>{NUMBER})\s*(?P<ounces>oz|ounces?)?)?"
)


def read_weight(text: str) -> Reading[Fraction]:
    """Reads `15`, `15 1/2`, `15.5 lb`, `15 lb 3 oz`, `15-3` as pounds."""

    def parse(plain: str, warnings: list[str]) -> Fraction:
        points = use_decimal_points(plain)
        warnings += [COMMA_TOLD] if points != plain else []
        return _parse_weight(points)

    return read_by(text, parse)


def _parse_weight(plain: str) -> Fraction:
    metric = re.fullmatch(rf"({NUMBER})\s*(?:kg|kilos?|kilograms?)", plain)
    if metric:
        pounds, ounces = divmod(round(parse_number(metric[1])[0] * _KILOGRAM_LB * 16), 16)
        raise Ask("A ball's weight is kept in pounds. Is this it, to the ounce?", f"{pounds} lb {ounces} oz")
    match = _WEIGHT.fullmatch(plain)
    if not match or (match["oz"] and not match["unit"] and not match["mark"]):
        raise Refuse("Write a weight like 15 or 15 lb 3 oz.")
    lb, oz = match["lb"], match["oz"] or "0"
    if match["oz"] and not (match["unit"] or match["ounces"] or match["mark"].strip()):
        raise Ask("Pounds and ounces?", f"{lb} lb {oz} oz", f"{lb}.{oz} lb")
    if match["unit"] and not match["ounces"] and "/" in oz and parse_number(oz)[0] < 1:
        raise Ask("A part of a pound, or of an ounce?", f"{lb} {oz} lb", f"{lb} lb {oz} oz")
    if not match["unit"] and re.fullmatch(r"\d+\.1[0-5]", lb):
        raise Ask("Pounds with decimals, or pounds and ounces?", f"{lb} lb", f"{lb.replace('.', ' lb ')} oz")
    if parse_number(oz)[0] >= 16:
        raise Ask("A pound has 16 ounces. Which is meant?", f"{lb} lb", f"{lb} lb {oz[:1]} oz")
    value = parse_number(lb)[0] + parse_number(oz)[0] / 16
    if not 6 <= value <= 16:
        raise Refuse("A ball weighs 6 to 16 lb.")
    return value
