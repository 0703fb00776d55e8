"""Reads pitches: one cell with a way, forward or reverse, left or right, or one cell with both."""

import re
from dataclasses import replace
from fractions import Fraction

from app.measures.lengths import read_length
from app.measures.pitches import Pitch, read_pitch
from app.measures.reading import PITCH
from app.measures.wording import exact, palm_side
from app.sheets.cells import Cell
from app.sheets.conventions import QUESTIONS, Conventions
from app.sheets.damages import list_readings
from app.sheets.parts import (
    Part,
    ask,
    clean_text,
    find_damage,
    judge_length,
    make_empty,
    needs_comma,
    offer_possible,
    put_unit,
    says_unknown,
    tidy,
)

USUAL_PITCH_IN = Fraction(3, 4)  # ASSUMED, common practice, no source: what is more may be a hole size or a span
_VERTICAL = {
    "forward": "forward fwd for f forwards frwd fd",
    "reverse": "reverse rev r back bwd rv reversed backward",
}
_LATERAL = {
    "left": "left l lt ←",
    "right": "right r rt →",
    "under": "under u palm in",
    "away": "away a out",
}
_VERTICAL_OF = {word: way for way, words in _VERTICAL.items() for word in words.split()}
_LATERAL_OF = {word: way for way, words in _LATERAL.items() for word in words.split()}
WAY_WORDS = (frozenset(_VERTICAL_OF) | frozenset(_LATERAL_OF)) - {"in"}
_SIDEWAYS = {"left", "right", "under", "away", "l", "lt", "rt", "←", "→"}
_LENGTHWAYS = {"forward", "fwd", "reverse", "rev", "f", "back"}
_SKIPPED = {"lat", "lateral", "pitch", "to", "the", "towards", "side", "of"}
_ZERO = {"0", "zero", "00", "straight", "nil", "0/0", "even"}
_WORD = re.compile(r"[a-z]+|[←→]")
_UNIT_WORDS = {"in", "mm", "cm", "deg", "degree", "degrees", "thou", "inch", "inches"}
OPPOSITE = {
    "forward": "reverse",
    "reverse": "forward",
    "left": "right",
    "right": "left",
    "under": "away",
    "away": "under",
}


def _split(plain: str, ways: dict[str, str]) -> tuple[str, list[str], list[str]]:
    """Returns (the amount, the ways that words name, other words); `in` behind a figure is inches."""
    found: list[str] = []
    others: list[str] = []

    def take(match: re.Match[str]) -> str:
        word = match[0]
        is_unit = word in _UNIT_WORDS and bool(re.search(r"[\d.]\s*$", plain[: match.start()]))
        if is_unit:
            return word
        if word in ways:
            found.append(ways[word])
        elif word not in _SKIPPED:
            others.append(word)
        return " "

    rest = _WORD.sub(take, plain)
    return " ".join(rest.split()).strip(" ,;:").rstrip("/ "), found, others


def names_other_way(kind: str, text: str) -> bool:
    """Whether a cell of a `vertical` can only be a lateral, or one of a `lateral` only forward or reverse."""
    own, others = (_VERTICAL_OF, _SIDEWAYS) if kind == "vertical" else (_LATERAL_OF, _LENGTHWAYS)
    size, ways, words = _split(clean_text(text), own)
    return not ways and bool(set(words) & others) and read_length(size, PITCH).value is not None


def _list_headed(size: str, pair: tuple[str, str]) -> tuple[str, ...]:
    """Returns the two readings of a size under its heading, whatever way is written beside it."""
    return _both(size, pair) if read_length(size, PITCH).value else ()


def _find_doubt(cell: Cell, text: str, conventions: Conventions) -> Part | None:
    """Returns the question about a size of a pitch that its unit or its spelling leaves open; None if there is none."""
    unit = conventions.pitch_units
    if re.fullmatch(r"\d+(?:\.\d*)?|\.\d+", text) and float(text) and not unit:
        inches = () if conventions.units == "mm" else (text, *list_readings(text, PITCH))
        return ask(cell, QUESTIONS["pitch_units"], *inches, f"{text} mm", f"{text}°")
    if unit in {"mm", "deg"} and "/" in text and not re.search(r"in\b|\"", text):
        return ask(cell, "A fraction among other units: is it in inches?", f"{text} in")
    if re.fullmatch(r"0 \d+/\d+", text):
        return ask(cell, "A zero before the size: two sizes, or one?", text[2:], "0")
    if "/" in text and "mm" in text:
        return ask(cell, "A fraction of millimetres: is it in inches?", text.replace("mm", "").strip())
    return None


def _read_amount(cell: Cell, rest: str, conventions: Conventions) -> Part:
    """Reads the size of a pitch, its sign and way taken away."""
    text = put_unit(rest, conventions, conventions.pitch_units)
    doubt = _find_doubt(cell, text, conventions)
    if doubt:
        return doubt
    if re.search(r"°|deg", text):
        return _read_degrees(cell, text)
    if says_unknown(text):
        return make_empty(cell, True)
    part = judge_length(cell, text, read_length(text, PITCH), PITCH)
    size = read_length(part.as_read, PITCH).value if part.state == "value" else None
    if size is not None and size > USUAL_PITCH_IN:
        return ask(cell, "Unusual for a pitch: is it in the right column?", *list_readings(text, PITCH), part.as_read)
    return offer_possible(part, "oval_width")


def _read_degrees(cell: Cell, text: str) -> Part:
    reading = read_pitch(f"{text} forward")
    if reading.value is None:
        return ask(cell, reading.message, *reading.choices)
    return Part(cell.text, "value", text, text, told=reading.warnings)


def read_vertical(cell: Cell, conventions: Conventions, says: str = "") -> Part:
    """Reads `3/8R`, `-1/4`, `F 1/8` in a column of forward and reverse; `says` is the way that its heading names."""
    damage = find_damage(cell) or _ask_none(cell)
    if damage:
        return _offer_ways(damage, ("reverse", "forward"))
    plain = clean_text(cell.text)
    rest, ways, others = _split(plain, _VERTICAL_OF)
    if set(others) & _SIDEWAYS:
        message = "That is sideways, in a column of forward and reverse. Are two columns swapped?"
        return ask(cell, message, *_list_headed(rest, ("forward", "reverse")))
    return _read_one_way(cell, (rest, ways, others), conventions, ("plain_vertical", says))


def read_lateral(cell: Cell, conventions: Conventions, of: tuple[str, str], says: str = "") -> Part:
    """Reads `1/8 L`, `1/8 under`, `-1/8` in a column of laterals; `of` is (hand, hole)."""
    hand, hole = of
    damage = find_damage(cell) or _ask_none(cell)
    if damage:
        return _offer_ways(damage, ("right", "left"))
    plain = clean_text(cell.text)
    rest, ways, others = _split(plain, _LATERAL_OF)
    if set(others) & _LENGTHWAYS:
        message = "That is forward or reverse, in a column of laterals. Are two columns swapped?"
        return ask(cell, message, *_list_headed(rest, ("right", "left")))
    if not ways and re.search(r"\d\s*in$", plain) and rest:
        size = plain.removesuffix("in").strip()
        return ask(cell, "“In” behind a lateral: inches, or inside?", *_both(size, ("right", "left")))
    sides = _agree(ways, hand, hole)
    if not sides and ways:
        return ask(cell, _contradict(ways, hand), *(f"{rest} {way}" for way in dict.fromkeys(ways)))
    part = _read_one_way(cell, (rest, sides, others), conventions, ("plain_lateral", says))
    return _see_from(cell, part, conventions, hole)


def _agree(ways: list[str], hand: str, hole: str) -> list[str]:
    """Returns the one way that several words agree on, `left` and `under` of a left thumb; none if they do not."""
    sides = set(ways) & {"left", "right"}
    palms = set(ways) & {"under", "away"}
    if len(sides) > 1 or len(palms) > 1:
        return []
    if sides and palms:
        if hole != "thumb" or hand not in {"right", "left"}:
            return []
        side = palm_side(hand) if palms == {"under"} else OPPOSITE[palm_side(hand)]
        return list(palms) if sides == {side} else []
    return list(sides or palms)


def _contradict(ways: list[str], hand: str) -> str:
    named = " and ".join(dict.fromkeys(ways))
    return f"“{named}” contradict each other for a {hand} hand." if hand else f"“{named}”: which, for which hand?"


def _ask_none(cell: Cell) -> Part | None:
    is_none = tidy(cell.text).lower().strip(" .") in {"none", "no"}
    return ask(cell, "None: is it straight, or not known?", "0", "unknown") if is_none else None


def _offer_ways(damage: Part, ways: tuple[str, str]) -> Part:
    """Gives the sizes that are offered for a damaged cell each of the ways it may go."""
    if damage.state != "ask" or not damage.choices or damage.choices == ("unknown",):
        return damage
    sized = [c for c in damage.choices if Fraction(c) <= USUAL_PITCH_IN] if _are_fractions(damage.choices) else []
    offered = [f"{size} {way}" for size in sized or damage.choices for way in ways]
    return replace(damage, choices=tuple(offered[:6])) if sized else damage


def _are_fractions(choices: tuple[str, ...]) -> bool:
    return all(re.fullmatch(r"\d+/[1-9]\d*", c) for c in choices)


def _read_one_way(
    cell: Cell, split: tuple[str, list[str], list[str]], conventions: Conventions, plain: tuple[str, str]
) -> Part:
    """Returns the part of a size and its way; `plain` names the convention of a bare size, and the heading's way."""
    rest, ways, others = split
    pair = ("forward", "reverse") if plain[0] == "plain_vertical" else ("right", "left")
    sign, rest = (rest[0], rest[1:].strip()) if rest[:1] in {"+", "-"} and len(rest) > 1 else ("", rest)
    if sign and re.match(r"[-+]", rest):
        return ask(cell, "Two signs in a row. Which size and way is meant?")
    if needs_comma(rest, conventions):
        return ask(cell, QUESTIONS["comma"], *(f"{rest.replace(',', '.')} {way}" for way in pair))
    if (rest in _ZERO and not others) or tidy(cell.text).lower().strip(" .") in _ZERO:
        return Part(cell.text, "value", "0", "straight")
    if (not others and rest in {"", "-"} and not ways) or tidy(cell.text).lower() in {"n/a", "na"}:
        return make_empty(cell, False)
    amount = _read_amount(cell, rest, conventions) if rest else ask(cell, "A way without a size. How much?", "0")
    if amount.state == "ask" or others:
        wanted = ways[0] if ways else plain[1]
        sizes = amount.choices or list_readings(cell.text, PITCH)
        message = amount.message or "Words stand beside the size. Is this the pitch?"
        offered = [f"{size} {way}" for size in sizes for way in ([wanted] if wanted and not others else pair)]
        return ask(cell, message, *offered)
    return _give_way(cell, amount, (sign, ways), conventions, plain)


def _give_way(
    cell: Cell, amount: Part, told: tuple[str, list[str]], conventions: Conventions, plain: tuple[str, str]
) -> Part:
    """Returns a size with its way, by its words, its sign, its heading or the file's convention."""
    sign, ways = told
    pair = ("forward", "reverse") if plain[0] == "plain_vertical" else ("right", "left")
    if amount.state != "value" or amount.as_read == "0":
        return replace(amount, words="straight") if amount.state == "value" else amount
    is_agreed = not sign or _choose_way(sign, plain[1], getattr(conventions, plain[0])) in ways
    if len(set(ways)) > 1 or (ways and not is_agreed):
        return ask(cell, "A sign and a letter, or two letters. Which way is meant?", *_both(amount.as_read, pair))
    chosen = ways[0] if ways else _choose_way(sign, plain[1], getattr(conventions, plain[0]))
    if not chosen:
        return ask(cell, QUESTIONS[plain[0]], *_both(amount.as_read, pair))
    return replace(amount, as_read=f"{amount.as_read} {chosen}", words=f"{amount.words} {chosen}")


def _both(size: str, pair: tuple[str, str]) -> tuple[str, str]:
    return f"{size} {pair[0]}", f"{size} {pair[1]}"


def _choose_way(sign: str, says: str, convention: str) -> str:
    """Returns the way of a size without a word: what the heading says of a bare one, else the file's convention."""
    if says and sign != "-":
        return says
    if not convention or (says and sign == "-"):
        return ""
    return OPPOSITE[convention] if sign == "-" else convention


def _see_from(cell: Cell, part: Part, conventions: Conventions, hole: str) -> Part:
    """Turns left and right into those seen from outside; asks where it is not known from where they are seen."""
    way = part.as_read.rpartition(" ")[2]
    if part.state != "value" or way not in OPPOSITE:
        return part
    size = part.as_read.removesuffix(way).strip()
    if way in {"under", "away"}:
        if hole == "thumb":
            return part
        return ask(cell, "Under and away of a finger: which side is that?", *_both(size, ("right", "left")))
    if not conventions.seen_from:
        return ask(cell, QUESTIONS["seen_from"], *_both(size, ("right", "left")))
    seen = OPPOSITE[way] if conventions.seen_from == "inside" else way
    return replace(part, as_read=f"{size} {seen}", words=part.words.replace(way, f"to the {seen}"))


def write_pitch(pitch: Pitch) -> str:
    """Writes a pitch as its field reads it back, `1/4 reverse, 1/8 left`."""
    if not pitch.forward_in and not pitch.right_in:
        return "0"
    ahead = f"{exact(abs(pitch.forward_in))} {'forward' if pitch.forward_in > 0 else 'reverse'}"
    across = f"{exact(abs(pitch.right_in))} {'right' if pitch.right_in > 0 else 'left'}"
    return f"{ahead if pitch.forward_in else '0'}, {across if pitch.right_in else '0'}"
