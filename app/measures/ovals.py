"""Reads clock directions seen from outside the ball, and ovals, which are wider in one direction."""

import re
from dataclasses import dataclass
from fractions import Fraction

from app.measures.lengths import (
    NUMBER,
    parse_length,
    parse_length_and_warnings,
    parse_number,
    read_by,
    use_decimal_points,
)
from app.measures.reading import HOLE, LIFT, OVAL, Ask, Quantity, Reading, Refuse, ask_within
from app.measures.spelling import COMMA_TOLD
from app.measures.wording import exact, inches

# Clock directions ---------------------------------------------------------------------------------------------

_OCLOCK = r"\s*o ?'? ?clock"
_DEGREES = r"(?:°|deg(?:rees?)?)"
_BACK = r"ccw|counter[- ]?clockwise|anti[- ]?clockwise|left|lt|l"
_ON = r"cw|clockwise|right|rt|r"
_TURN = re.compile(
    rf"(?:(?P<before>{_BACK}|{_ON})\s*)?(?P<sign>[-+])?\s*(?P<size>{NUMBER})\s*(?P<unit>{_DEGREES})?\s*"
    rf"(?:(?:to )?(?:the )?(?P<after>{_BACK}|{_ON}))?"
)
_NAMED = {
    "up": 0, "fingers": 0, "right": 90, "down": 180, "away from the fingers": 180, "left": 270,
}  # fmt: skip


def read_clock(text: str) -> Reading[Fraction]:
    """Reads a direction as degrees clockwise from 12 o'clock (towards the fingers), seen from outside, 0 to 360."""
    return read_by(text, lambda plain, warnings: _parse_clock(use_decimal_points(plain)))


def _parse_clock(plain: str) -> Fraction:
    plain = re.sub(r"^(?:at|towards?) |(?<!from )\bthe (?=fingers|palm|left|right)", "", plain)
    hours = _parse_hours(plain)
    if hours is not None:
        if not 1 <= hours < 13:
            raise Refuse("A clock direction is 1:00 to 12:59.")
        return hours * 30 % 360
    if plain in _NAMED:
        return Fraction(_NAMED[plain])
    if re.search(r"\bpalm\b|^(?:under|away|in|out)$", plain):
        raise Ask("The palm lies on another side for each hand. Which direction is meant?", "3:00", "9:00", "6:00")
    turn = _TURN.fullmatch(plain)
    if not turn:
        raise Refuse("Write a clock time such as 10:30, or degrees such as 45 left.")
    return _parse_turn(turn)


def _parse_turn(turn: re.Match[str]) -> Fraction:
    written, way = turn["size"], turn["after"] or turn["before"]
    size = parse_number(written)[0]
    if (turn["sign"] and way) or (turn["before"] and turn["after"]):
        raise Ask("A sign and a side, or two sides. Which is meant?", f"{written} left", f"{written} right")
    if not (turn["unit"] or way or turn["sign"]) and 0 < size < 13:
        raise Ask("O'clock or degrees?", *_list_times(written), f"{written}°")
    if size > 360:
        raise Refuse("A direction is 0 to 360 degrees.")
    is_back = turn["sign"] == "-" or bool(way and re.fullmatch(_BACK, way))
    return (-size if is_back else size) % 360


def _parse_hours(plain: str) -> Fraction | None:
    """Parses a text that can only be a clock time, such as 10:30, 10h30, 6 o'clock, half past 10; None for others."""
    time = re.fullmatch(rf"(\d{{1,2}})[:h](\d{{2}})(?:{_OCLOCK})?|(\d{{1,2}})[ -]([0-5]\d){_OCLOCK}", plain)
    if time:
        hour, minute = int(time[1] or time[3]), int(time[2] or time[4])
        if minute > 59:
            raise Refuse("A clock direction is 1:00 to 12:59.")
        return Fraction(hour) + Fraction(minute, 60)
    part = re.fullmatch(rf"(1/[24]) (past|to) (\d{{1,2}})(?:{_OCLOCK})?", plain)
    if part:
        return int(part[3]) + (Fraction(part[1]) if part[2] == "past" else -Fraction(part[1]))
    spoken = re.fullmatch(rf"({NUMBER}){_OCLOCK}", plain)
    if not spoken:
        return None
    times = _list_times(spoken[1])
    if len(times) > 1:
        raise Ask("Hours and minutes, or hours with decimals?", *times)
    return parse_number(spoken[1])[0] if not times or "o'clock" in times[0] else _parse_hours(times[0])


def _list_times(written: str) -> list[str]:
    """Lists the clock times that a number may mean: 10.30 as hours and minutes, 7.75 as decimal hours, 6 as it is."""
    hours = parse_number(written)[0]
    if hours.denominator == 1 and "." not in written:
        return [f"{hours} o'clock"]
    whole, _, decimals = written.partition(".")
    minutes = (hours - int(hours)) * 60
    with_decimals = minutes if minutes.denominator == 1 and (len(decimals) < 2 or minutes % 15 == 0) else None
    as_minutes = None
    if len(decimals) == 2 and int(decimals) < 60:
        as_minutes = Fraction(decimals)
    elif decimals in {"1", "2", "3", "4"}:
        as_minutes = Fraction(decimals + "0")
    hour = int(hours) if whole.isdecimal() or not decimals else 0
    found = dict.fromkeys(m for m in (as_minutes, with_decimals) if m is not None)
    return [f"{hour}:{int(m):02d}" for m in found if 1 <= hour <= 12]


# Lifts: a size in a direction ------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Towards:
    """A size in inches and the clock direction it goes in, degrees clockwise from the fingers, seen from outside."""

    size_in: Fraction
    deg: Fraction


def read_towards(text: str) -> Reading[Towards]:
    """Reads `1/32 @ 6:00`, `1/16 towards 12 o'clock`: how far, and in which direction."""
    return read_by(text, _parse_towards)


def _parse_towards(plain: str, warnings: list[str]) -> Towards:
    points = use_decimal_points(plain)
    warnings += [COMMA_TOLD] if points != plain else []
    written, turn = _split_off_turn(points)
    after = f" @ {turn}" if turn else ""
    size = ask_within(lambda: parse_length(written, LIFT, warnings), lambda choice: choice + after)
    if not size:
        return Towards(Fraction(0), Fraction(0))
    if not turn:
        raise Ask("In which direction?", f"{exact(size)} @ 12:00", f"{exact(size)} @ 6:00")
    return Towards(size, ask_within(lambda: _parse_clock(turn), lambda choice: f"{written} @ {choice}"))


# Ovals --------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Oval:
    """A hole and its oval: bit and extra width (0 = round) in inches, and the clock direction in degrees."""

    hole_in: Fraction
    oval_in: Fraction
    oval_deg: Fraction


_ANY_WIDTH = Quantity("oval", Fraction(0), Fraction(3), Fraction(0), Fraction(3))


def read_oval(text: str) -> Reading[Oval]:
    """Reads `31/32`, `1 x 1 1/32 @ 45`, `1 + 1/32 @ 10:30`: a second number near the first is the finished width."""
    return read_by(text, _parse_oval)


def _parse_oval(plain: str, warnings: list[str]) -> Oval:
    points = use_decimal_points(plain)
    if points != plain:
        warnings.append(COMMA_TOLD)
    size, turn_text = _split_off_turn(points)
    is_sweep = bool(re.search(r"\bswe(?:ep|pt)\b", size))
    size = re.sub(r"\s*\b(?:sweep|swept|oval|wide)\b\s*", " ", size).strip()
    pieces = re.split(r"\s*x\s*|\s+by\s+|\s*\+\s*(?=[\d.-])", size, maxsplit=1)
    if len(pieces) == 1:
        return _parse_round(points, size, turn_text, warnings)
    if re.search(r"[-+]$", pieces[0]):
        raise Ask("Two signs between the hole and its oval. Write it such as 1 + 1/32 @ 45.")
    if "" in pieces:
        raise Ask("One of the two widths is missing. Write both, such as 1 x 1 1/32 @ 45.")
    turned = f" @ {turn_text}" if turn_text else ""
    bit, extra = ask_within(
        lambda: _parse_widths(pieces, "+" in size or is_sweep, warnings), lambda choice: f"{choice}{turned}"
    )
    if extra and not turn_text:
        raise Ask("In which direction is it wider?", f"{plain} @ 12:00", f"{plain} @ 45 left", f"{plain} @ 45 right")
    if not turn_text:
        return Oval(bit, extra, Fraction(0))
    return Oval(bit, extra, ask_within(lambda: _parse_clock(turn_text), lambda choice: f"{size} @ {choice}"))


def _parse_round(plain: str, size: str, turn_text: str, warnings: list[str]) -> Oval:
    if "oval" in plain:
        raise Ask("That gives the oval but not the hole. Write both, such as 1 + 1/16 @ 45 left.")
    if turn_text:
        raise Ask("A direction but no oval. How much wider is the hole?")
    less = re.fullmatch(r"([1-9]\d*/[1-9]\d*)\s*-\s*([1-9]\d*/[1-9]\d*)", size)
    if less and (rest := Fraction(less[1]) - Fraction(less[2])) > 0:
        raise Ask("Is the second the oval, or taken off the hole?", f"{less[1]} + {less[2]} @ 12:00", exact(rest))
    return Oval(parse_length(size, HOLE, warnings), Fraction(0), Fraction(0))


def _parse_widths(pieces: list[str], is_extra: bool, warnings: list[str]) -> tuple[Fraction, Fraction]:
    """Returns (bit, extra width); `is_extra` says that the second number is added to the first."""
    mark = "+" if is_extra else "x"
    first = ask_within(lambda: parse_length(pieces[0], HOLE, []), lambda choice: f"{choice} {mark} {pieces[1]}")
    second = ask_within(
        lambda: parse_length_and_warnings(pieces[1], _ANY_WIDTH)[0], lambda choice: f"{pieces[0]} {mark} {choice}"
    )
    if is_extra and first <= second <= OVAL.high:
        raise Ask("Is that how much wider the hole is, or how wide in all?", f"{pieces[0]} x {pieces[1]}")
    bit, extra = (first, second) if is_extra or second < first / 2 else (min(first, second), abs(second - first))
    if extra > OVAL.high:
        raise Refuse(f"An oval of {inches(extra)} in more than the bit is not possible.")
    if not is_extra and bit < first:
        warnings.append(f"Read as a {exact(bit)} hole made {exact(first)} wide.")
    bit = parse_length(exact(bit), HOLE, warnings)
    if extra > OVAL.usual_high:
        warnings.append(f"Unusual: the oval is {inches(extra)} in wider than the bit.")
    return bit, extra


_SIDE = rf"(?:{_BACK}|{_ON})"
_ANGLE = rf"\d{{1,3}}(?:\.\d{{1,6}})? ?{_DEGREES}?"
_TURN_AT_END = re.compile(
    rf"\s(\d{{1,2}}[:h]\d{{2}}(?:{_OCLOCK})?|\d{{1,2}}(?: 1/2)?{_OCLOCK}"
    rf"|{_ANGLE}\s*{_SIDE}|{_SIDE}\s*{_ANGLE}|\d{{1,3}}(?:\.\d{{1,6}})? ?{_DEGREES})$"
)


def _split_off_turn(plain: str) -> tuple[str, str]:
    mark = re.search(r"@|\bat\b|\btowards?\b", plain)
    if mark:
        return plain[: mark.start()].strip(" ,"), plain[mark.end() :].strip()
    tail = _TURN_AT_END.search(plain)
    return (plain[: tail.start()].strip(" ,"), tail[1]) if tail else (plain, "")
