"""Compares two fits in terms of the trade."""

from dataclasses import dataclass
from fractions import Fraction

from app.closed_sets import DIGITS, GRIP_HOLES_WORDS
from app.measures.half_pairs import tells_unknown
from app.measures.wording import (
    clock_words,
    inches,
    lateral_words,
    pitch_change,
    plain_fraction,
    vertical_words,
)
from app.models import Fit, FitHole


@dataclass(frozen=True)
class Difference:
    """One line of a comparison: name, both values, and the difference in words (empty if they agree)."""

    what: str
    old: str
    new: str
    words: str


def tell_change(change: Fraction | float, more: str, less: str) -> str:
    """Returns `1/32 longer`, `1.3/64 shorter`, and nothing for less than a tenth of a 64th."""
    count = Fraction(round(abs(float(change)) * 64, 1)).limit_denominator(10)
    size = plain_fraction(count / 64) if count.denominator == 1 else f"{float(count):g}/64"
    return f"{size} {more if change > 0 else less}" if count else ""


def compare_fits(a: Fit, b: Fit) -> list[Difference]:
    """Returns the comparison of two revisions line by line, differences in words and 64ths."""

    def lengths(what: str, name: str, field: str, more: str, less: str) -> Difference:
        return _compare_lengths(what, (getattr(a, name), getattr(b, name)), _name_gaps(a, b, field), more, less)

    lines = [
        _compare_texts("grip", GRIP_HOLES_WORDS[a.grip_holes], GRIP_HOLES_WORDS[b.grip_holes]),
        _compare_texts("grip style", a.style, b.style),
        *(line for finger in ("middle", "ring") for line in _compare_spans(a, b, finger)),
        _compare_texts("reaches measured to" if a.is_thumbless else "spans measured to", a.span_edges, b.span_edges),
    ]
    if a.bridge_edges or b.bridge_edges:
        lines.append(lengths("bridge", "bridge_in", "bridge", "wider", "narrower"))
        lines.append(_compare_texts("bridge measured to", a.bridge_edges, b.bridge_edges))
    if not (a.is_thumbless and b.is_thumbless):
        lines.append(_compare_texts("thumb hardware", format_label(a), format_label(b)))
    for digit in DIGITS:
        if digit in a.digits and digit in b.digits:
            lines += _compare_holes(a, b, digit)
        elif digit in {*a.digits, *b.digits}:
            has = ["a hole" if digit in of.digits else "no hole" for of in (a, b)]
            lines.append(Difference(digit, has[0], has[1], "changed"))
    lines.append(_compare_texts("notes on hand and skin", a.hand_notes, b.hand_notes))
    lines.append(_compare_texts("what a clinician said", a.clinician_notes, b.clinician_notes))
    return lines


def _compare_spans(a: Fit, b: Fit, finger: str) -> list[Difference]:
    """Compares the spans or the reaches to a finger; a span and a reach are two things, told side by side."""
    pair = a.span_in(finger), b.span_in(finger)
    if finger not in {*a.fingers, *b.fingers}:
        return []
    if a.is_thumbless == b.is_thumbless and finger in a.fingers and finger in b.fingers:
        what = f"reach of {finger}" if a.is_thumbless else f"span to {finger}"
        return [_compare_lengths(what, pair, _name_gaps(a, b, "spans"), "longer", "shorter")]
    gaps, shown = _name_gaps(a, b, "spans"), []
    for of, value, gap in zip((a, b), pair, gaps, strict=True):
        size = gap if value is None else inches(value)
        said = f"{'reach' if of.is_thumbless else 'span'} {size}"
        shown.append(said if finger in of.fingers else f"no {finger} finger")
    return [Difference(f"to {finger}", shown[0], shown[1], "changed")]


def _compare_holes(a: Fit, b: Fit, digit: str) -> list[Difference]:
    old, new = a.hole(digit), b.hole(digit)

    def lengths(what: str, name: str, part: str, more: str, less: str) -> Difference:
        gaps = _name_gaps(a, b, f"{digit}_{part}")
        return _compare_lengths(f"{digit} {what}", (getattr(old, name), getattr(new, name)), gaps, more, less)

    lines = [lengths("hole", "hole_in", "hole", "larger", "smaller")]
    gaps = _name_gaps(a, b, f"{digit}_hole")
    if digit == "thumb" or old.oval_in or new.oval_in:
        lines.append(lengths("oval", "oval_in", "hole", "wider", "narrower"))
        lines.append(
            _compare_texts(f"{digit} oval direction", _format_clock(old, gaps[0]), _format_clock(new, gaps[1]))
        )
    if digit == "thumb":
        lines += _compare_offsets(old, new, _name_gaps(a, b, "thumb_offset"))
    else:
        lines.append(
            _compare_texts(f"{digit} insert", *(hole.system.label if hole.system else "" for hole in (old, new)))
        )
        lines.append(_compare_texts(f"{digit} inside off the axis", _format_lift(old), _format_lift(new)))
        lines.append(lengths("bore for insert", "cut_in", "cut", "larger", "smaller"))
        lines.append(lengths("depth", "depth_in", "depth", "deeper", "shallower"))
    gaps = _name_gaps(a, b, f"{digit}_pitch")
    for what, name, plus, minus in (
        ("forward or reverse", "forward_in", "forward", "reverse"),
        ("left or right", "right_in", "right", "left"),
    ):
        pair = (getattr(old, name), getattr(new, name))
        lines.append(_compare_pitches(f"{digit} pitch, {what}", pair, gaps, plus, minus))
    return lines


def _compare_offsets(old: FitHole, new: FitHole, gaps: tuple[str, str]) -> list[Difference]:
    """Compares how far the thumb stands off the centre line, if it does in one of the two."""
    pair = [hole.offset_in for hole in (old, new)]
    if pair == [None, None] and "unknown" not in gaps:
        return []
    shown = [
        "unknown" if value is None and gap == "unknown" else lateral_words(value) if value else "on it"
        for value, gap in zip(pair, gaps, strict=True)
    ]
    return [_compare_texts("thumb off the centre line", *shown)]


def _name_gaps(a: Fit, b: Fit, field: str) -> tuple[str, str]:
    """Returns what a missing value of this field is called in each fit: unknown, or not given."""
    one, other = ("unknown" if tells_unknown(of.typed.get(field, "")) else "not given" for of in (a, b))
    return one, other


def format_label(of: Fit) -> str:
    return of.system.label if of.system_id and of.system else "none"


def _format_clock(hole: FitHole, gap: str) -> str:
    if hole.hole_in is None:
        return gap
    return clock_words(hole.oval_deg or 0) if hole.oval_in else "round"


def _format_lift(hole: FitHole) -> str:
    return f"{inches(hole.lift_in)} towards {clock_words(hole.lift_deg or 0)}" if hole.lift_in else ""


def _compare_texts(what: str, old: str, new: str) -> Difference:
    return Difference(what, old or "none", new or "none", "" if old == new else "changed")


_Pair = tuple[Fraction | None, Fraction | None]


def _compare_lengths(what: str, pair: _Pair, gaps: tuple[str, str], more: str, less: str) -> Difference:
    old, new = pair
    words = "" if old is None or new is None or old == new else tell_change(new - old, more, less)
    return _compare(what, [gap if v is None else inches(v) for v, gap in zip(pair, gaps, strict=True)], words)


def _compare_pitches(what: str, pair: _Pair, gaps: tuple[str, str], plus: str, minus: str) -> Difference:
    say = vertical_words if plus == "forward" else lateral_words
    old, new = pair
    words = "" if old is None or new is None or old == new else pitch_change(old, new, plus, minus)
    return _compare(what, [gap if v is None else say(v) for v, gap in zip(pair, gaps, strict=True)], words)


def _compare(what: str, shown: list[str], words: str) -> Difference:
    return Difference(what, shown[0], shown[1], words or ("" if shown[0] == shown[1] else "changed"))
