"""Reads a pitch written as two parts: forward or reverse, then left or right."""

import math
import re
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction

from app.measures.lengths import NUMBER, UNIT, parse_length, parse_number, read_by
from app.measures.reading import PITCH, Ask, Reading, Refuse, ask_within, pick_meaning
from app.measures.spelling import list_comma_readings, warn_of_commas
from app.measures.wording import exact, palm_side

STANDARD_RADIUS_IN = 13.5 / math.pi  # a 27 in ball, for pitches typed in degrees


@dataclass(frozen=True)
class Pitch:
    """Inches by which a hole's axis misses the ball's centre: forward towards the palm, right as seen from outside."""

    forward_in: Fraction
    right_in: Fraction


def _write_size(value: Fraction) -> str:
    """Writes a size so that it can be offered as a choice: one converted from degrees as a decimal, to a millionth."""
    return exact(value if value.denominator <= 1000 else Fraction(round(value * 10**6), 10**6))


_WORDS = {
    "f": "forward", "fwd": "forward", "for": "forward", "forward": "forward",
    "rev": "reverse", "reverse": "reverse", "back": "reverse", "bwd": "reverse",
    "l": "left", "lt": "left", "left": "left", "←": "left", "rt": "right", "right": "right", "→": "right", "r": "r",
    "under": "under", "palm": "under", "in": "under", "u": "under",
    "away": "away", "out": "away", "a": "away",
    "lat": "lateral", "lateral": "lateral", "straight": "0", "none": "0", "0": "0", "00": "0",
}  # fmt: skip
_SKIPPED = {"the", "to", "towards", "toward", "pitch", "side", "from"}
_BETWEEN = {"x", "by", "and"}
_DEGREES = r"\s*(?:°|deg(?:rees?)?)"
_TOKEN = re.compile(
    rf"(?P<number>[-+]?{NUMBER}(?:{_DEGREES}|\s*(?:{UNIT}))?)|(?P<word>[a-z]+|[←→])|(?P<sep>[,/&;-])|(?P<space>\s+)"
)
_VERTICAL, _SIDEWAYS = {"forward", "reverse"}, {"left", "right", "under", "away", "lateral"}


@dataclass
class _Part:
    number: Fraction | None
    words: list[str]

    @property
    def is_zero(self) -> bool:
        return self.number == 0

    def has(self, words: set[str]) -> bool:
        return any(w in words for w in self.words)


def read_pitch(text: str, hand: str = "", hole: str = "", radius_in: float = STANDARD_RADIUS_IN) -> Reading[Pitch]:
    """Reads texts such as `3/8R 1/8L`, `1/8 under`; `hand` and `hole` decide which side is under the palm."""

    def parse(plain: str, warnings: list[str]) -> Pitch:
        def parse_one_way(way: str, told: list[str]) -> Pitch:
            parts = _parse_parts(_separate_zeros(way), radius_in, warn_of_commas(plain, way, told))
            return _resolve(parts, hand, hole, told)

        return pick_meaning(list_comma_readings(plain), parse_one_way, _write_pitch, warnings)

    return read_by(text, parse)


def _write_pitch(pitch: Pitch) -> str:
    vertical, sideways = exact(abs(pitch.forward_in)), exact(abs(pitch.right_in))
    return (
        f"{vertical} {'forward' if pitch.forward_in > 0 else 'reverse'}, "
        f"{sideways} {'right' if pitch.right_in > 0 else 'left'}"
    )


def _separate_zeros(plain: str) -> str:
    """Separates a zero from the next size, as in 0 1/8 left or 0-0; a hyphen after a word is a separator."""
    if re.search(r"[-,;/&] ?[-,;/&]", plain):
        raise Refuse("There are two signs in a row. Write it like 3/8 reverse, 1/8 left.")
    _ask_about_dashes(plain)
    plain = re.sub(r"\bno\b", "0", plain)
    plain = re.sub(r"(?<=[a-z])-(?=[\d.])", " , ", plain)
    plain = re.sub(r"(?<![\d./])0\s*[-/]\s*0(?![\d./])", "0 x 0", plain)
    if re.fullmatch(r"0[ -]\d+/\d+ ?r", plain):
        return plain
    return re.sub(r"(?<![\d./])0\s*[-/ ]\s*(?=\d+\s*/\s*\d|\.\d)", "0 x ", plain)


def _ask_about_dashes(plain: str) -> None:
    """Raises Ask for a dash after a size (1/4- reverse), which may mean a light 64th, or at an end of the text."""
    behind = re.search(r"(?<=\d)-(?=\s|[a-z]|$)", plain)
    if behind or re.search(r"^-\s|-$", plain):
        bare = " ".join(re.sub(r"(?<=\d)-(?=\s|[a-z]|$)|^-\s|-$", " ", plain).split())
        raise Ask("A dash with nothing between: a 64th less, or nothing? Write the size out.", bare)


def _parse_parts(plain: str, radius_in: float, warnings: list[str]) -> list[_Part]:
    """Parses the numbers of the text, each with its direction words."""
    tokens = list(_split_into_tokens(plain))
    if sum(isinstance(t, tuple) or t == "0" for t in tokens) > 2:
        raise Refuse("There are more than two sizes in that. Write forward or reverse, then left or right.")
    parts: list[_Part] = []
    leading: list[str] = []
    words_first = bool(tokens) and isinstance(tokens[0], str)
    is_apart = False  # after a separator a word belongs to the next size if the last size has one
    for token in tokens:
        if token == ",":
            is_apart = True
        elif not isinstance(token, str) or token == "0":
            parts.append(
                _Part(
                    Fraction(0) if token == "0" else _parse_signless_amount(plain, token[0], radius_in, warnings),
                    leading,
                )
            )
            leading, is_apart = [], False
        elif (
            not parts
            or (words_first and parts[-1].words != ["lateral"])
            or (is_apart and parts[-1].words)
            or (token == "lateral" and parts[-1].has(_VERTICAL | {"r"}))
        ):
            leading.append(token)
        else:
            parts[-1].words.append(token)
    if leading:
        if not parts:
            raise Refuse("That names a direction without a size. Write it like 3/8 reverse, 1/8 left.")
        parts[-1].words += leading
    if not parts:
        raise Refuse("That is no pitch that can be read. Write it like 3/8 reverse, 1/8 left.")
    return parts


def _split_into_tokens(plain: str) -> Iterator[str | tuple[str]]:
    """Yields direction words as str, numbers as one-tuples, and any separator of two sizes as a comma."""
    at = 0
    while at < len(plain):
        match = _TOKEN.match(plain, at)
        if not match:
            raise Refuse(f"“{plain[at]}” means nothing in a pitch. Write it like 3/8 reverse, 1/8 left.")
        at = match.end()
        word = match["word"]
        if match["number"]:
            yield (match["number"],)
        elif match["sep"] or word in _BETWEEN:
            yield ","
        elif word and word not in _SKIPPED:
            if word not in _WORDS:
                raise Refuse(f"“{word}” is no direction. Use forward, reverse, left, right, under or away.")
            yield _WORDS[word]


def _parse_signless_amount(plain: str, number: str, radius_in: float, warnings: list[str]) -> Fraction:
    if number[0] in "+-":
        choices = [f"{number[1:]} {way}" for way in ("forward", "reverse") if number == plain]
        raise Ask("A plus or minus alone does not say which way. Write the direction.", *choices)
    return ask_within(
        lambda: _parse_amount(number, radius_in, warnings),
        lambda choice: " ".join(plain.replace(number, f" {choice} ", 1).split()),
    )


def _parse_amount(text: str, radius_in: float, warnings: list[str]) -> Fraction:
    degrees = re.fullmatch(rf"({NUMBER}){_DEGREES}", text)
    if degrees:
        angle = float(parse_number(degrees[1])[0])
        if not 0 <= angle < 20:
            raise Refuse("A pitch in degrees is 0 to 20.")
        warnings.append(f"{angle:g}° on this ball is a pitch of {radius_in * math.sin(math.radians(angle)):.4f} in.")
        return Fraction(radius_in * math.sin(math.radians(angle))).limit_denominator(10**9)
    return parse_length(text, PITCH, warnings)


def _resolve(parts: list[_Part], hand: str, hole: str, warnings: list[str]) -> Pitch:
    for part in parts:
        axes = len(set(part.words) & _VERTICAL) + len(set(part.words) & (_SIDEWAYS - {"lateral"}))
        if axes > 1 or ("lateral" in part.words and part.has(_VERTICAL)):
            raise Ask("Two directions for one size. Write each size with its own direction.")
    if len(parts) == 1:
        return _resolve_lone(parts[0], hand, hole, warnings)
    vertical, sideways = _put_in_order(*parts)
    if vertical.has(_VERTICAL) and sideways.has(_VERTICAL):
        raise Ask("Both sizes are forward or reverse. Which one is left or right?")
    if vertical.has(_SIDEWAYS) and sideways.has(_SIDEWAYS):
        raise Ask("Both sizes are sideways. Which one is forward or reverse?")
    return Pitch(_resolve_vertical(vertical), _resolve_lateral(sideways, hand, hole))


def _put_in_order(first: _Part, second: _Part) -> tuple[_Part, _Part]:
    """Returns (forward or reverse, left or right); the first R of a pair is reverse and the second is right."""
    if "r" in first.words:
        if second.has(_VERTICAL):
            _ask_pair(first, second)
        first = _Part(first.number, ["reverse"])
    if "r" in second.words:
        if first.has(_SIDEWAYS):
            _ask_pair(first, second)
        second = _Part(second.number, ["right"])
    is_swapped = first.has(_SIDEWAYS) and (second.has(_VERTICAL) or second.is_zero)
    is_swapped = is_swapped or (second.has(_VERTICAL) and first.is_zero and not first.words)
    return (second, first) if is_swapped else (first, second)


def _ask_pair(first: _Part, second: _Part) -> None:
    a, b = _write_size(first.number or Fraction(0)), _write_size(second.number or Fraction(0))
    raise Ask(
        "R can be reverse or right here. Write the words.",
        f"{b} reverse, {a} {'left' if 'left' in first.words else 'right'}",
        f"{a} reverse, {b} right",
    )


def _resolve_lone(part: _Part, hand: str, hole: str, warnings: list[str]) -> Pitch:
    size = _write_size(part.number or Fraction(0))
    if part.has(_VERTICAL):
        if not part.is_zero:
            warnings.append("Only forward or reverse was given: left and right were read as straight.")
        return Pitch(_resolve_vertical(part), Fraction(0))
    if part.is_zero and not part.words:
        return Pitch(Fraction(0), Fraction(0))
    if part.is_zero and part.has(_SIDEWAYS):
        warnings.append("Only left or right was given: forward and reverse were read as straight.")
        return Pitch(Fraction(0), Fraction(0))
    if "r" in part.words:
        raise Ask("R alone can be reverse or right.", f"{size} reverse, 0", f"0, {size} right")
    if part.words == ["lateral"]:
        raise Ask("Sideways to which side?", f"0, {size} left", f"0, {size} right")
    if part.has(_SIDEWAYS):
        _resolve_lateral(part, hand, hole)
        words = " ".join(part.words)
        raise Ask("And forward or reverse? Write 0 if it is straight.", f"0, {size} {words}")
    raise Ask("Which way?", f"{size} forward, 0", f"{size} reverse, 0", f"0, {size} left", f"0, {size} right")


def _resolve_vertical(part: _Part) -> Fraction:
    value = part.number or Fraction(0)
    if not value or "forward" in part.words:
        return value
    if "reverse" in part.words:
        return -value
    size = _write_size(value)
    raise Ask(f"Is {size} forward or reverse?", f"{size} forward", f"{size} reverse")


def _resolve_lateral(part: _Part, hand: str, hole: str) -> Fraction:
    value = part.number or Fraction(0)
    if not value:
        return value
    size = _write_size(value)
    if "left" in part.words:
        return -value
    if "right" in part.words:
        return value
    if part.has({"under", "away"}):
        if hole != "thumb" or hand not in {"right", "left"}:
            raise Ask(
                "Under and away need a thumb and a hand. Write left or right.",
                f"{size} left",
                f"{size} right",
            )
        towards = value if palm_side(hand) == "right" else -value
        return towards if "under" in part.words else -towards
    raise Ask(f"Is {size} left or right?", f"{size} left", f"{size} right")
