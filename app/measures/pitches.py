"""A pitch written as two parts: forward or reverse, then left or right."""

import math
import re
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction

from app.measures.lengths import NUMBER, UNIT, length_with, read_by
from app.measures.reading import PITCH, Ask, Reading, Refuse
from app.measures.wording import palm_side, plain_fraction

STANDARD_RADIUS_IN = 13.5 / math.pi  # a 27 in ball, for pitches typed in degrees


@dataclass(frozen=True)
class Pitch:
    """Inches by which a hole's axis misses the ball's centre: forward towards the palm, right as seen from outside."""

    forward_in: Fraction
    right_in: Fraction


_WORDS = {
    "f": "forward", "fwd": "forward", "for": "forward", "forward": "forward",
    "rev": "reverse", "reverse": "reverse", "back": "reverse", "bwd": "reverse",
    "l": "left", "left": "left", "←": "left", "right": "right", "→": "right", "r": "r",
    "under": "under", "palm": "under", "in": "under", "u": "under",
    "away": "away", "out": "away", "a": "away",
    "lat": "lateral", "lateral": "lateral", "zero": "0", "straight": "0", "0": "0", "00": "0",
}  # fmt: skip
_SKIPPED = {
    "x",
    ",",
    "/",
    "by",
    "and",
    "&",
    ";",
    "-",
    "the",
    "to",
    "towards",
    "toward",
    "pitch",
    "side",
    "from",
}
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
    """Reads `3/8R 1/8L`, `1/8 under` and their kin; `hand` and `hole` decide which side is under the palm."""

    def of(plain: str, warnings: list[str]) -> Pitch:
        return _resolved(_parts(plain, radius_in, warnings), hand, hole, warnings)

    return read_by(text, of)


def _parts(plain: str, radius_in: float, warnings: list[str]) -> list[_Part]:
    """The numbers of the text, each with the direction words that stand with it."""
    tokens = list(_tokens(re.sub(r"zero[- ]zero|^0 ?/ ?0$", "0 x 0", plain)))
    parts: list[_Part] = []
    leading: list[str] = []
    words_first = bool(tokens) and isinstance(tokens[0], str)
    for token in tokens:
        if not isinstance(token, str):
            parts.append(_Part(_amount(token[0], radius_in, warnings), leading))
            leading = []
        elif token == "0":
            parts.append(_Part(Fraction(0), leading))
            leading = []
        elif words_first and not (parts and parts[-1].words == ["lateral"]):
            leading.append(token)
        elif parts:
            parts[-1].words.append(token)
        else:
            leading.append(token)
    if leading:
        if not parts:
            raise Refuse("That names a direction without a size. Write it like 3/8 reverse, 1/8 left.")
        parts[-1].words += leading
    if not parts:
        raise Refuse("That is no pitch that can be read. Write it like 3/8 reverse, 1/8 left.")
    return parts


def _tokens(plain: str) -> Iterator[str | tuple[str]]:
    """Direction words as str, numbers as one-tuples; separators dropped."""
    at = 0
    while at < len(plain):
        match = _TOKEN.match(plain, at)
        if not match:
            raise Refuse(f"“{plain[at]}” means nothing in a pitch. Write it like 3/8 reverse, 1/8 left.")
        at = match.end()
        if match["number"]:
            yield (match["number"],)
        elif match["word"]:
            word = match["word"]
            if word in _SKIPPED:
                continue
            if word not in _WORDS:
                raise Refuse(f"“{word}” is no direction. Use forward, reverse, left, right, under or away.")
            yield _WORDS[word]


def _amount(text: str, radius_in: float, warnings: list[str]) -> Fraction:
    if text[0] in "+-":
        raise Ask(
            "A plus or minus alone does not say which way. Write the direction.",
            f"{text[1:]} forward", f"{text[1:]} reverse",
        )  # fmt: skip
    degrees = re.fullmatch(rf"({NUMBER}){_DEGREES}", text)
    if degrees:
        angle = float(Fraction(degrees[1]) if "/" not in degrees[1] else 0)
        if not 0 <= angle < 20:
            raise Refuse("A pitch in degrees is 0 to 20.")
        warnings.append(f"{angle:g}° on this ball is a pitch of {radius_in * math.sin(math.radians(angle)):.4f} in.")
        return Fraction(radius_in * math.sin(math.radians(angle))).limit_denominator(10**9)
    return length_with(text, PITCH, warnings)


def _resolved(parts: list[_Part], hand: str, hole: str, warnings: list[str]) -> Pitch:
    if len(parts) > 2:
        raise Refuse("There are more than two sizes in that. Write forward or reverse, then left or right.")
    for part in parts:
        axes = len(set(part.words) & _VERTICAL) + len(set(part.words) & (_SIDEWAYS - {"lateral"}))
        if axes > 1 or ("lateral" in part.words and part.has(_VERTICAL)):
            raise Ask("Two directions for one size. Write each size with its own direction.")
    if len(parts) == 1:
        return _lone(parts[0], hand, hole, warnings)
    vertical, sideways = _in_order(*parts)
    if vertical.has(_VERTICAL) and sideways.has(_VERTICAL):
        raise Ask("Both sizes are forward or reverse. Which one is left or right?")
    if vertical.has(_SIDEWAYS) and sideways.has(_SIDEWAYS):
        raise Ask("Both sizes are sideways. Which one is forward or reverse?")
    return Pitch(_vertical(vertical), _lateral(sideways, hand, hole))


def _in_order(first: _Part, second: _Part) -> tuple[_Part, _Part]:
    """(forward or reverse, left or right): the first R of a pair is reverse and the second is right."""
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
    a, b = plain_fraction(first.number or Fraction(0)), plain_fraction(second.number or Fraction(0))
    raise Ask(
        "R can be reverse or right here. Write the words.",
        f"{b} reverse, {a} {'left' if 'left' in first.words else 'right'}",
        f"{a} reverse, {b} right",
    )


def _lone(part: _Part, hand: str, hole: str, warnings: list[str]) -> Pitch:
    size = plain_fraction(part.number or Fraction(0))
    if part.has(_VERTICAL):
        if not part.is_zero:
            warnings.append("Only forward or reverse was given: left and right were read as straight.")
        return Pitch(_vertical(part), Fraction(0))
    if part.is_zero and not part.words:
        return Pitch(Fraction(0), Fraction(0))
    if "r" in part.words:
        raise Ask("R alone can be reverse or right.", f"{size} reverse, 0", f"0, {size} right")
    if part.words == ["lateral"]:
        raise Ask("Sideways to which side?", f"0, {size} left", f"0, {size} right")
    if part.has(_SIDEWAYS):
        _lateral(part, hand, hole)
        words = " ".join(part.words)
        raise Ask("And forward or reverse? Write 0 if it is straight.", f"0, {size} {words}")
    raise Ask("Which way?", f"{size} forward, 0", f"{size} reverse, 0", f"0, {size} left", f"0, {size} right")


def _vertical(part: _Part) -> Fraction:
    value = part.number or Fraction(0)
    if not value or "forward" in part.words:
        return value
    if "reverse" in part.words:
        return -value
    size = plain_fraction(value)
    raise Ask(f"Is {size} forward or reverse?", f"{size} forward", f"{size} reverse")


def _lateral(part: _Part, hand: str, hole: str) -> Fraction:
    value = part.number or Fraction(0)
    if not value:
        return value
    size = plain_fraction(value)
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
