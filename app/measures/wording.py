"""Formats numbers as the trade reads them: mixed fractions, words, 64ths and directions."""

from collections.abc import Callable
from decimal import Decimal
from fractions import Fraction
from functools import lru_cache

from app.calculation.units import MM_PER_INCH, pitch_deg

_SAME = Fraction(1, 10**8)  # inches: rounding of doubles converted from a typed 64th or millimetre

_ONES = [
    "zero",
    "one",
    "two",
    "three",
    "four",
    "five",
    "six",
    "seven",
    "eight",
    "nine",
    "ten",
    "eleven",
    "twelve",
    "thirteen",
    "fourteen",
    "fifteen",
    "sixteen",
    "seventeen",
    "eighteen",
    "nineteen",
]
_TENS = ["twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety"]
SMALL_WORDS = {w: i for i, w in enumerate(_ONES)} | {w: 20 + 10 * i for i, w in enumerate(_TENS)}
_DENOMINATORS = {
    2: "half",
    4: "quarter",
    8: "eighth",
    16: "sixteenth",
    32: "thirty-second",
    64: "sixty-fourth",
}
DENOMINATOR_WORDS = (
    {w.replace("-", " "): d for d, w in _DENOMINATORS.items()}
    | {w.replace("-", " ") + "s": d for d, w in _DENOMINATORS.items()}
    | {"halves": 2, "fourth": 4, "fourths": 4}
)


def mixed(value: Fraction) -> tuple[int, int, int]:
    """Splits a value of 0 or more into (whole, numerator, denominator); the numerator of a whole number is 0."""
    whole, rest = divmod(value.numerator, value.denominator)
    return whole, rest, value.denominator


def plain_fraction(value: Fraction) -> str:
    """`3 47/64`, `7/8`, `2`: exact, with a minus sign when negative."""
    sign = "-" if value < 0 else ""
    whole, top, bottom = mixed(abs(value))
    if not top:
        return f"{sign}{whole}"
    return f"{sign}{whole} {top}/{bottom}" if whole else f"{sign}{top}/{bottom}"


def exact(value: Fraction) -> str:
    """Returns a spelling that reads back as exactly this value: a fraction to 64ths, a decimal, or any fraction."""
    if 64 % value.denominator == 0:
        return plain_fraction(value)
    bottom = value.denominator
    while bottom % 2 == 0:
        bottom //= 2
    while bottom % 5 == 0:
        bottom //= 5
    if bottom == 1:
        text = format(Decimal(value.numerator) / Decimal(value.denominator), "f")
        if len(text.partition(".")[2]) <= 12 and Fraction(text) == value:
            return text
    return plain_fraction(value)


def nearest_64th(value: Fraction | float) -> Fraction:
    return Fraction(round(Fraction(value) * 64), 64)


@lru_cache(4096)  # a page tells the same lengths again and again
def inches(value: Fraction | float | int) -> str:
    """`3 47/64`, or with a remainder of a thousandth or more `3 47/64 + 0.003`; less than half a 64th `0.0045`."""
    near = nearest_64th(Fraction(value))
    thousandths = round((Fraction(value) - near) * 1000)  # never more than 8
    shown = plain_fraction(near)
    if thousandths and not near:
        return decimal(value)
    if thousandths:
        return f"{shown} {'+' if thousandths > 0 else '−'} 0.00{abs(thousandths)}"
    return shown


_DIVISIONS = (8, 16, 32)  # of an inch on a tape, the coarsest first; then 64ths


def inches_within(value: Fraction | float, doubt_in: float) -> str:
    """`1 5/8`: by the coarsest division of a tape that is no coarser than the doubt; `under 1/16` within half of one.

    The value is 0 or more, and the doubt a standard uncertainty in inches.
    """
    parts = next((parts for parts in _DIVISIONS if 1 / parts <= doubt_in), 64)
    near = Fraction(round(Fraction(value) * parts), parts)
    return plain_fraction(near) if near else f"under 1/{2 * parts}"


# How far off its 64th a mark may lie and still count as on it, inches: an eighth of a 64th, about a third of a pencil
# line. Common practice, no source. What is a driller's *full* or *shy* begins here and ends half way to the next 64th.
FULL_OR_SHY_FROM_IN = Fraction(1, 512)
LEAST_TOLD_IN = Fraction(1, 20_000)  # inches: what a ten-thousandth shows as 0


def nearest_mark(value: Fraction | float) -> tuple[Fraction, str]:
    """Returns the nearest 64th of a length of 0 or more, inches, and `full`, `shy` or nothing.

    Full is a little more than the 64th, shy a little less. Half way between two it is the even one's, as `round` does.
    """
    near = nearest_64th(value)
    rest = Fraction(value) - near
    if abs(rest) <= FULL_OR_SHY_FROM_IN:
        return near, ""
    return near, "full" if rest > 0 else "shy"


def mark_words(value: Fraction | float) -> str:
    """`2 49/64 shy`, `1/8`, and less than half a 64th `0.0045`: a length for a tape or a rule, of 0 or more inches."""
    near, word = nearest_mark(value)
    if not near and value >= LEAST_TOLD_IN:
        return decimal(value)
    return f"{plain_fraction(near)} {word}".rstrip()


def decimal(value: Fraction | float, places: int = 4) -> str:
    """`3.7344`: with a leading zero, without trailing zeros after the third place, never `-0`."""
    text = f"{float(value):.{places}f}"
    while text.endswith("0") and len(text.partition(".")[2]) > 3:
        text = text[:-1]
    return text.lstrip("-") if float(text) == 0 else text


def inches_exactly(value: Fraction | float) -> str:
    """`3 47/64 (3.7344)`: the 64th to set the table by, and the decimal to rebuild a hole from."""
    return f"{inches(value)} ({decimal(value)})"


def place_words(along_in: float, across_in: float, length: Callable[[float], str] = inches_exactly) -> str:
    """`2 1/32 (2.0312) back, 1/64 (0.0156) left`: a place or a move, along and across in inches, signs as words."""
    ahead = f"{length(abs(along_in))} {'forward' if along_in > 0 else 'back'}"
    if abs(across_in) < 0.00005:
        return ahead
    return f"{ahead}, {length(abs(across_in))} {'right' if across_in > 0 else 'left'}"


def pitch_decimals(forward_in: float, right_in: float) -> str:
    """`0.250 reverse, 0.125 left`: a pitch to a ten-thousandth; `0.000` where it is straight."""
    parts = [(forward_in, "forward", "reverse"), (right_in, "right", "left")]
    told = [f"{decimal(abs(v))} {more if v > 0 else less}" for v, more, less in parts if abs(v) >= 0.00005]
    return ", ".join(told) or "0.000"


def number_words(number: int) -> str:
    if number < 20:
        return _ONES[number]
    if number < 100:
        tens, ones = divmod(number, 10)
        return _TENS[tens - 2] + (f"-{_ONES[ones]}" if ones else "")
    return str(number)


def in_words(value: Fraction | float) -> str:
    """Three and forty-seven sixty-fourths; one-eighth; four.

    A value off the 64ths is given with its own number, `about thirteen sixty-fourths (5 mm)`, and by its number alone
    where the nearest 64th is 0: `0.006 in`. Only zero is `zero`.
    """
    size = abs(Fraction(value))
    near = nearest_64th(size)
    if abs(size - near) < _SAME:
        return _fraction_words(near)
    return f"about {_fraction_words(near)} ({own_number(size)})" if near else own_number(size)


def own_number(value: Fraction | float) -> str:
    """`0.1 in`, `5 mm`, `0.1969 in`: a length in decimal inches, or in millimetres if only those are round."""
    size = Fraction(value)
    inch, mm = Fraction(round(size * 1000), 1000), Fraction(round(size * MM_PER_INCH * 100), 100)
    if abs(size - inch) >= _SAME and abs(size * MM_PER_INCH - mm) < _SAME and mm:
        return f"{float(mm):g} mm"
    places = 4
    while not round(size, places) and places < 12:
        places += 1
    return f"{decimal(size, places).rstrip('0').rstrip('.')} in"


def _fraction_words(near: Fraction) -> str:
    whole, top, bottom = mixed(near)
    if not top:
        return number_words(whole)
    name = _DENOMINATORS[bottom]
    if top > 1:
        name += "s"
    part = f"{number_words(top)}-{name}" if top < 20 and bottom <= 16 else f"{number_words(top)} {name}"
    return f"{number_words(whole)} and {part}" if whole else part


def in_64ths(value: Fraction | float, longer: str = "long", shorter: str = "short") -> str:
    """`+2/64 long`, `1/64 short`, `even`; a value off the 64ths to a tenth of a 64th."""
    count = round(float(value) * 64, 1)
    if count == 0:
        return "even"
    size = f"{abs(count):g}/64"
    return f"+{size} {longer}" if count > 0 else f"{size} {shorter}"


def share_words(share: float) -> str:
    """`96.6 %`: a share of 0 to 1; never `0.0 %` or `100.0 %` of what is only nearly so."""
    if 0 < share < 0.0005:
        return "under 0.1 %"
    return "over 99.9 %" if 0.9995 <= share < 1 else f"{100 * share:.1f} %"


VERDICT_WORDS = {
    "within": "within tolerance", "long": "too long", "short": "too short", "mixed": "one long, one short",
    "flush": "flush", "proud": "stands proud", "sunk": "sunk", "measure": "measure first", "leans": "leans",
}  # fmt: skip


def proud_words(value: Fraction | float) -> str:
    """`+2/64 proud`, `1/64 sunk`, `flush`: how an inner stands in a ball."""
    words = in_64ths(value, "proud", "sunk")
    return "flush" if words == "even" else words


def pitch_change(
    old: Fraction | float, new: Fraction | float, more: str, less: str, circumference_in: float = 27.0
) -> str:
    """`4/32 more reverse (1.67°)`: the change of a pitch in 32nds and in degrees on a ball; empty if there is none."""
    count = round(float(new - old) * 32, 1)
    if old == new:
        return ""
    turned = abs(pitch_deg(float(new), circumference_in) - pitch_deg(float(old), circumference_in))
    size = f"{abs(count):g}/32" if count else own_number(abs(Fraction(new) - Fraction(old)))
    return f"{size} more {more if new > old else less} ({turned:.2f}°)"


def vertical_words(forward: Fraction) -> str:
    """`one-quarter reverse`, `straight`."""
    if abs(forward) < _SAME:
        return "straight up and down"
    return f"{in_words(forward)} {'forward' if forward > 0 else 'reverse'}"


def palm_side(hand: str) -> str:
    """Which side of the thumb the palm is on, seen from outside the ball with the fingers up."""
    return "right" if hand == "right" else "left"


def lateral_words(right: Fraction, hand: str = "", hole: str = "") -> str:
    """`one-eighth to the right, towards the palm`; names the palm only for a thumb of a known hand."""
    if abs(right) < _SAME:
        return "straight side to side"
    side = "right" if right > 0 else "left"
    words = f"{in_words(right)} to the {side}"
    if hole == "thumb" and hand in {"right", "left"}:
        words += ", towards the palm" if palm_side(hand) == side else ", away from the palm"
    return words


def pitch_words(forward: Fraction, right: Fraction, hand: str = "", hole: str = "") -> str:
    if max(abs(forward), abs(right)) < _SAME:
        return "straight"
    return f"{vertical_words(forward)}; {lateral_words(right, hand, hole)}"


def clock_words(degrees: Fraction | float) -> str:
    """`1:30 (45°)`: clock time seen from outside with the fingers at 12."""
    turn = float(degrees) % 360
    minutes = round(turn * 2)
    hour, minute = divmod(minutes, 60)
    return f"{hour % 12 or 12}:{minute:02d} ({turn:g}°)"


def degree_words(angle_deg: float) -> str:
    """`35°`, `42.5°`, `−12°`: to a tenth of a degree."""
    return f"{round(angle_deg, 1) + 0.0:g}°".replace("-", "−")


def letter_of(revision: int) -> str:
    """Returns the letter of a revision number: A, B … Z, AA, AB …"""
    letters, number = "", revision
    while number > 0:
        number, rest = divmod(number - 1, 26)
        letters = chr(ord("A") + rest) + letters
    return letters
