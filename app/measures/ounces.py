"""Reads ounces: small weights, the weight of a ball in ounces, and what a two-way scale shows with its side."""

import re
from fractions import Fraction

from app.measures.amounts import read_weight
from app.measures.lengths import NUMBER, parse_number, read_by, use_decimal_points
from app.measures.reading import IMBALANCE, Ask, Quantity, Reading, Refuse, ask_within
from app.measures.spelling import COMMA_TOLD
from app.measures.wording import exact

GRAMS_PER_OUNCE = Fraction("28.349523125")  # exact by definition, international yard and pound agreement of 1959
OUNCES_PER_POUND = 16
_OUNCES = re.compile(rf"(?P<sign>[-+])?\s*(?P<number>{NUMBER})\s*(?P<unit>oz|ounces?|g|grams?|grammes?)?")
_ALL_OUNCES = re.compile(rf"({NUMBER})\s*(?:oz|ounces?)")
LIGHTEST_OZ, HEAVIEST_OZ = 6 * OUNCES_PER_POUND, 16 * OUNCES_PER_POUND
_EVEN = {"even", "level", "balanced", "zero", "nil"}
SIDES = {"right": ("right", "left"), "finger": ("finger", "thumb"), "top": ("top", "bottom")}  # the positive one first


def read_ounces(text: str, quantity: Quantity) -> Reading[Fraction]:
    """Reads `3 1/4 oz`, `3.25`, `92 g` as ounces; a gram is converted exactly."""
    return read_by(text, lambda plain, warnings: _parse_ounces(plain, quantity, warnings))


def _parse_ounces(plain: str, quantity: Quantity, warnings: list[str]) -> Fraction:
    points = use_decimal_points(plain)
    warnings += [COMMA_TOLD] if points != plain else []
    match = _OUNCES.fullmatch(points)
    if not match:
        raise Refuse("Write ounces like 3 1/4 or 3.25, or grams like 92 g.")
    value, told = parse_number(match["number"])
    warnings += told
    is_grams = (match["unit"] or "").startswith("g")
    value = value / GRAMS_PER_OUNCE if is_grams else value
    value = -value if match["sign"] == "-" else value
    if value < 0 and not quantity.is_signed:
        raise Refuse(f"A {quantity.name} cannot be negative.")
    if not quantity.low <= value <= quantity.high:
        if not match["unit"] and quantity.low <= value / GRAMS_PER_OUNCE <= quantity.high:
            raise Ask(f"{match['number']}: grams? Write the unit.", f"{match['number']} g")
        limits = f"{exact(quantity.low)} to {exact(quantity.high)} oz"
        raise Refuse(f"A {quantity.name} of {float(value):g} oz is outside what can be: {limits}.")
    if not quantity.usual_low <= value <= quantity.usual_high:
        usual = f"{exact(quantity.usual_low)} to {exact(quantity.usual_high)} oz"
        warnings.append(f"Unusual: a {quantity.name} is mostly {usual}.")
    return value


def read_ball_ounces(text: str) -> Reading[Fraction]:
    """Reads the weight of a ball, `15 lb 3 oz`, `15.5`, `243 oz`, as ounces; without a unit it is pounds."""
    pounds = read_weight(text)
    if pounds.state == "value" and pounds.value is not None:
        return Reading(text, "value", pounds.value * OUNCES_PER_POUND, pounds.warnings)
    if pounds.state != "error":
        return Reading(text, pounds.state, message=pounds.message, choices=pounds.choices)
    return read_by(text, lambda plain, _: _parse_all_ounces(use_decimal_points(plain), pounds.message))


def _parse_all_ounces(plain: str, refusal: str) -> Fraction:
    match = _ALL_OUNCES.fullmatch(plain)
    if not match:
        raise Refuse(refusal)
    value = parse_number(match[1])[0]
    if not LIGHTEST_OZ <= value <= HEAVIEST_OZ:
        raise Refuse(f"A ball weighs {LIGHTEST_OZ} to {HEAVIEST_OZ} oz.")
    return value


def read_imbalance(text: str, along: str) -> Reading[Fraction]:
    """Reads what a two-way scale shows `along` one of SIDES: `1/4 right`, `left 0.1`, `even`; a bare number asks.

    Positive is right, the finger side and top.
    """
    return read_by(text, lambda plain, warnings: _parse_imbalance(plain, *SIDES[along], warnings))


def _parse_imbalance(plain: str, plus: str, minus: str, warnings: list[str]) -> Fraction:
    if plain in _EVEN:
        return Fraction(0)
    word = rf"(?:{plus}|{minus})s?(?: (?:side|heavy))*"
    match = re.fullmatch(rf"(?:(?P<before>{word})\s+)?(?P<size>.*?\d.*?)(?:\s+(?P<after>{word}))?", plain)
    if not match:
        raise Refuse(f"Write it like 1/4 {plus}, 1/4 {minus} or even.")
    said = {w.split()[0].removesuffix("s") for w in (match["before"], match["after"]) if w}
    size = ask_within(
        lambda: _parse_ounces(match["size"], IMBALANCE, warnings), lambda choice: plain.replace(match["size"], choice)
    )
    is_signed = match["size"][0] in "+-"
    if size and (len(said) != 1 or is_signed):
        written = match["size"].lstrip("+- ")
        raise Ask(f"Heavier on which side, {plus} or {minus}?", f"{written} {plus}", f"{written} {minus}")
    return -size if said == {minus} else size
