import random
import re
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.measures.amounts import read_proud
from app.measures.describe import KINDS, describe
from app.measures.lengths import read_length
from app.measures.ovals import read_clock
from app.measures.pairs import read_span_pair
from app.measures.pitches import read_pitch
from app.measures.reading import DEPTH, QUANTITIES
from app.measures.wording import (
    exact,
    in_64ths,
    in_words,
    inches,
    pitch_change,
    pitch_decimals,
    pitch_words,
    place_words,
    plain_fraction,
)
from tests.conftest import not_none

COUNT = 100_000


def random_value(pick: random.Random) -> Fraction:
    """A trade fraction, a decimal, a metric size or any fraction, within what a depth can be."""
    kind = pick.randrange(4)
    if kind == 0:
        return Fraction(pick.randrange(7, 384), 64)
    if kind == 1:
        return Fraction(pick.randrange(1001, 59_999), 10_000)
    if kind == 2:
        return Fraction(pick.randrange(30, 1520), 254)
    return Fraction(pick.randrange(1, 5 * 997), 997) + Fraction(1, 8)


def test_what_is_written_out_reads_back_exactly() -> None:
    pick = random.Random(20261125)
    for _ in range(COUNT):
        value = random_value(pick)
        reading = read_length(exact(value), DEPTH)
        assert reading.state == "value", (value, exact(value), reading)
        assert reading.value == value


def test_signed_values_read_back_exactly() -> None:
    pick = random.Random(1)
    for _ in range(5_000):
        value = Fraction(pick.randrange(-64, 65), 64)
        assert read_length(exact(value), QUANTITIES["proud"]).value == value


TRADE_CHARACTERS = "0123456789 /-+.,'\"@:xXrRlLfFmin½⅜″′⁄°→undeway"


@settings(max_examples=1_500, deadline=None)
@given(st.sampled_from(KINDS), st.text(alphabet=TRADE_CHARACTERS, max_size=24))
def test_nothing_typed_raises(kind: str, text: str) -> None:
    describe(kind, text, "right", "thumb", "middle")


@settings(max_examples=500, deadline=None)
@given(st.sampled_from(KINDS), st.text(max_size=60))
def test_no_text_of_any_kind_raises(kind: str, text: str) -> None:
    describe(kind, text)


@settings(max_examples=300, deadline=None)
@given(st.fractions(min_value=-8, max_value=8, max_denominator=2048))
def test_the_shown_inches_are_within_half_a_thousandth(value: Fraction) -> None:
    shown = inches(value)
    text, _, rest = shown.partition(" + ")
    sign = 1
    if " − " in shown:
        text, _, rest = shown.partition(" − ")
        sign = -1
    parts = text.removeprefix("-").split(" ")
    size = sum(Fraction(p) for p in parts) * (-1 if text.startswith("-") else 1)
    assert abs(size + sign * Fraction(rest or 0) - value) <= Fraction(1, 2000)


def test_words() -> None:
    assert in_words(Fraction(1, 8)) == "one-eighth"
    assert in_words(Fraction(239, 64)) == "three and forty-seven sixty-fourths"
    assert in_words(Fraction(4)) == "four"
    assert plain_fraction(Fraction(-3, 8)) == "-3/8"
    assert in_64ths(2 / 64) == "+2/64 long"
    assert in_64ths(-1 / 64) == "1/64 short"
    assert in_64ths(0.0001) == "even"


@pytest.mark.parametrize(
    ("value", "words"),
    [
        (Fraction(50, 254), "about thirteen sixty-fourths (5 mm)"),  # 13/64 is 5.159 mm
        (float(Fraction(50, 254)), "about thirteen sixty-fourths (5 mm)"),
        (Fraction(6, 1000), "0.006 in"),
        (Fraction(1, 10), "about three thirty-seconds (0.1 in)"),
        (Fraction(1, 100_000), "0.00001 in"),
        (Fraction(5, 1), "five"),
        (1e-17, "zero"),
    ],
)
def test_words_keep_what_is_not_on_a_64th(value: Fraction | float, words: str) -> None:
    assert in_words(value) == words


@settings(max_examples=300)
@given(st.fractions(min_value=0, max_value=2, max_denominator=4096))
def test_words_of_a_number_are_plain_only_on_a_64th(value: Fraction) -> None:
    words = in_words(value)
    on_a_64th = 64 % value.denominator == 0
    assert (" in" in words or " mm" in words) == (not on_a_64th)
    assert words.startswith("zero") == (value == 0)


def test_a_pitch_off_the_64ths_is_told_with_its_own_number() -> None:
    assert describe("pitch", "5 mm reverse, 0.006 left", "right", "thumb").words == (
        "about thirteen sixty-fourths (5 mm) reverse; 0.006 in to the left, away from the palm"
    )
    assert pitch_words(Fraction(0), Fraction(1e-17)) == "straight"


def test_a_small_change_of_pitch_is_a_change() -> None:
    assert pitch_change(Fraction(0), Fraction(1, 1000), "forward", "reverse") == "0.001 in more forward (0.01°)"
    assert pitch_change(Fraction(1, 8), Fraction(1, 8), "forward", "reverse") == ""
    less = pitch_change(Fraction(1, 8), Fraction(1, 8) - Fraction(1, 1000), "forward", "reverse")
    assert less == "0.001 in more reverse (0.01°)"
    # by hand: asin(3/8 ÷ 4.2972) − asin(1/4 ÷ 4.2972) = 5.006° − 3.335°
    assert pitch_change(Fraction(1, 4), Fraction(3, 8), "forward", "reverse") == "4/32 more forward (1.67°)"


def test_a_pitch_is_read_back_with_its_side_and_the_palm() -> None:
    assert describe("pitch", "3/8 reverse, 1/8 right", "right", "thumb").words == (
        "three-eighths reverse; one-eighth to the right, towards the palm"
    )
    shown = describe("pitch", "3/8 reverse, 1/8 right", "left", "thumb")
    assert shown.words.endswith("away from the palm")
    assert (not_none(shown.arrow).up_in, not_none(shown.arrow).right_in) == (-0.375, 0.125)


# Styles and damages -------------------------------------------------------------------------------------------

_HALVES_TO_64THS = st.sampled_from([2, 4, 8, 16, 32, 64]).flatmap(
    lambda d: st.integers(1, d - 1).filter(lambda n: n % 2 == 1).map(lambda n: (n, d))
)
_TRADE = st.tuples(st.integers(2, 5), _HALVES_TO_64THS)
_ENDINGS = {2: "nds", 32: "nds"}
_STYLES = [
    "{w} {n}/{d}", "{w}-{n}/{d}", "{w}_{n}/{d}", "{w}+{n}/{d}", "{w} and {n}/{d}", "{w} & {n}/{d}", "{w}.{n}/{d}", "{w} {n}/{d}.", '{w} {n}/{d}"', "{w} {n}/{d} in.", "{w} {n}/{d} inch",
    "{w} {n}/{d}{o}", "{w} {n} {d}{o}", "{point}", "{comma}", "{point} in", "{words}", "{mm} mm", "{mm} millimeters", "{mmc} mm", '{w}" {n}/{d}',
]  # fmt: skip


def written(style: str, size: tuple[int, tuple[int, int]]) -> tuple[str, Fraction]:
    """A text in one style of the trade, and what it means."""
    w, (n, d) = size
    value = w + Fraction(n, d)
    mm = f"{float(value * Fraction(254, 10)):.1f}"
    point = f"{float(value):.6f}".rstrip("0")
    text = style.format(
        w=w, n=n, d=d, o=_ENDINGS.get(d, "ths"), point=point, comma=point.replace(".", ","), words=in_words(value), mm=mm, mmc=mm.replace(".", ","),
    )  # fmt: skip
    return text, Fraction(mm) * 10 / 254 if "{mm" in style else value


def canonical(text: str) -> Fraction | None:
    """What a text means whose spelling leaves no doubt, read on its own here; None for any other spelling."""
    text = re.sub(r" (\d+)(?:nds|ths)", r"/\1", " ".join(text.split()))
    whole = re.fullmatch(r"(?:(\d+)[ .-])?(\d+)/(\d+)(?: ?(?:\"|in|inch|nds|ths))?\.?", text)
    if whole and 0 < int(whole[2]) < int(whole[3]):
        return int(whole[1] or 0) + Fraction(int(whole[2]), int(whole[3]))
    number = re.fullmatch(r"(\d+(?:\.\d+)?)( in| mm| millimeters)?", text.replace(",", "."))
    if number:
        return Fraction(number[1]) * (Fraction(10, 254) if number[2] and "m" in number[2] else 1)
    return None


def damages(text: str) -> set[str]:
    """The text with one sign, comma, stroke, point or gap dropped or doubled."""
    places = [i for i, c in enumerate(text) if c in "+-,./& "]
    return {text[:i] + text[i + 1 :] for i in places} | {text[:i] + text[i] + text[i:] for i in places}


@settings(max_examples=300, deadline=None)
@given(st.sampled_from(_STYLES), _TRADE)
def test_a_size_in_any_style_reads_back_and_no_damage_changes_it_silently(
    style: str, size: tuple[int, tuple[int, int]]
) -> None:
    text, meant = written(style, size)
    reading = read_length(text, DEPTH)
    if reading.state == "ask":  # 3,125: a decimal comma or thousands
        assert re.fullmatch(r"\d,\d{3}", text)
    else:
        assert reading.value == meant, (text, reading)
    for damaged in damages(text):
        seen = read_length(damaged, DEPTH)
        assert seen.state != "value" or seen.value in {meant, canonical(damaged)}, (text, damaged, seen)


_BETWEEN = [" x ", "x", " by ", " & ", "; ", " / ", "/", " - ", "-", " "]
_SPAN_STYLES = ["{w} {n}/{d}", "{w}-{n}/{d}", "{point}", "{comma}", '{w} {n}/{d}"', "{w}.{n}/{d}"]
_SPAN = st.tuples(st.integers(3, 5), _HALVES_TO_64THS)


@settings(max_examples=300, deadline=None)
@given(st.sampled_from(_SPAN_STYLES), st.sampled_from(_BETWEEN), _SPAN, _SPAN)
def test_two_spans_in_any_style_read_back_and_no_damage_changes_them_silently(
    style: str, between: str, one: tuple[int, tuple[int, int]], two: tuple[int, tuple[int, int]]
) -> None:
    (a, first), (b, second) = written(style, one), written(style, two)
    reading = read_span_pair(a + between + b, "middle")
    assert (not_none(reading.value).middle_in, not_none(reading.value).ring_in) == (first, second), (
        a + between + b,
        reading,
    )
    for damaged in damages(a + between + b):
        seen = read_span_pair(damaged, "middle")
        if seen.state == "value" and (not_none(seen.value).middle_in, not_none(seen.value).ring_in) != (first, second):
            marks = re.finditer(r" *(?:[x;&/-]|by|) *", damaged)
            halves = [(canonical(damaged[: m.start()]), canonical(damaged[m.end() :])) for m in marks if m[0]]
            assert (not_none(seen.value).middle_in, not_none(seen.value).ring_in) in halves, (
                a + between + b,
                damaged,
                seen,
            )


_PITCH_SIZE = st.one_of(st.just((0, 1)), st.sampled_from([4, 8, 16, 32]).flatmap(lambda d: st.tuples(st.integers(1, d - 1), st.just(d))))  # fmt: skip
_UP = st.sampled_from([("rev", -1), ("rev.", -1), ("reverse", -1), ("F", 1), ("fwd", 1), ("forward", 1), ("R", -1)])
_RIGHT = st.sampled_from([("L", -1), ("Lt", -1), ("left", -1), ("Rt", 1), ("right", 1), ("R", 1)])


@settings(max_examples=250, deadline=None)
@given(_PITCH_SIZE, _UP, _PITCH_SIZE, _RIGHT, st.sampled_from([" ", ", ", " x ", " / ", " - ", " & ", "; ", "-"]), st.sampled_from(["fraction", "point", "comma"]))  # fmt: skip
def test_a_pitch_in_any_style_reads_back_and_no_damage_changes_it_silently(
    up: tuple[int, int], way: tuple[str, int], right: tuple[int, int], side: tuple[str, int], between: str, style: str
) -> None:
    sizes = [Fraction(*up), Fraction(*right)]
    shown = [plain_fraction(s) if style == "fraction" else f"{float(s):g}" for s in sizes]
    a, b = (s.replace(".", ",") if style == "comma" else s for s in shown)
    meant = (sizes[0] * way[1], sizes[1] * side[1])
    text = f"{a} {way[0]}{between}{b} {side[0]}"
    reading = read_pitch(text, "right", "thumb")
    assert (not_none(reading.value).forward_in, not_none(reading.value).right_in) == meant, (text, reading)
    for damaged in damages(text):
        seen = read_pitch(damaged, "right", "thumb")
        assert seen.state != "value" or (not_none(seen.value).forward_in, not_none(seen.value).right_in) == meant, (
            text,
            damaged,
            seen,
        )


@settings(max_examples=250, deadline=None)
@given(st.integers(0, 719), st.sampled_from(["{h}:{m:02d}", "{h}:{m:02d} o'clock", "{h}h{m:02d}", "{deg} right", "{deg}° clockwise", "R{deg}", "{left} left", "L{left}", "{left} ccw", "-{left}"]))  # fmt: skip
def test_a_direction_in_any_style_reads_back_and_no_damage_changes_it_silently(minutes: int, style: str) -> None:
    turn = Fraction(minutes, 2)
    comma = f"{float(360 - turn):g}".replace(".", ",")
    text = style.format(h=minutes // 60 or 12, m=minutes % 60, deg=f"{float(turn):g}", left=comma)
    reading = read_clock(text)
    assert reading.value == turn % 360, (text, reading)
    for damaged in damages(text):
        seen = read_clock(damaged)
        plain = re.fullmatch(r"(R|L|-)?(\d{1,3}(?:[.,]5)?)(?:° ?| )?(right|clockwise|left|ccw)?", damaged)
        legible = plain and (-1 if plain[1] in {"L", "-"} or plain[3] in {"left", "ccw"} else 1) * Fraction(
            plain[2].replace(",", ".")
        )
        assert seen.state != "value" or seen.value in {turn % 360, legible and legible % 360}, (text, damaged, seen)


@settings(max_examples=150, deadline=None)
@given(st.integers(1, 63), st.sampled_from(["{f} {w}", "{w} {f}", "{w} by {f}", "{p} {w}", "{c} {w}", "{s}{f}"]), st.sampled_from(["proud", "sunk"]))  # fmt: skip
def test_a_height_in_any_style_reads_back_and_no_damage_changes_it_silently(count: int, style: str, way: str) -> None:
    size, sign = Fraction(count, 64), 1 if way == "proud" else -1
    point = f"{float(size):.6f}"
    text = style.format(f=plain_fraction(size), w=way, p=point, c=point.replace(".", ","), s="+" if sign > 0 else "-")
    reading = read_proud(text)
    assert reading.value == size * sign, (text, reading)
    for damaged in damages(text):
        seen = read_proud(damaged)
        assert seen.state != "value" or seen.value == size * sign, (text, damaged, seen)


@pytest.mark.parametrize(
    ("forward", "right", "words"),
    [
        (-0.25, 0.125, "0.250 reverse, 0.125 right"),
        (0.0, -0.1875, "0.1875 left"),
        (0.00006, 0.0, "0.0001 forward"),
        (0.00004, -0.00004, "0.000"),
    ],
)
def test_a_pitch_to_rebuild_a_hole_by_has_four_places(forward: float, right: float, words: str) -> None:
    assert pitch_decimals(forward, right) == words


@pytest.mark.parametrize(
    ("along", "across", "words"),
    [
        (2.046875, -0.015625, "2 3/64 (2.0469) forward, 1/64 (0.0156) left"),
        (-0.5, 0.25, "1/2 (0.500) back, 1/4 (0.250) right"),
        (-0.5, 0.00004, "1/2 (0.500) back"),
    ],
)
def test_a_place_is_told_by_its_sides(along: float, across: float, words: str) -> None:
    assert place_words(along, across) == words
