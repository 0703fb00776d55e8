"""Compares two fits in terms of the trade."""

from dataclasses import dataclass
from fractions import Fraction

from app.closed_sets import DIGITS
from app.measures.wording import (
    clock_words,
    in_64ths,
    inches,
    lateral_words,
    pitch_change,
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


def compare_fits(a: Fit, b: Fit) -> list[Difference]:
    """Returns the comparison of two revisions line by line, differences in words and 64ths."""
    lines = [
        _compare_texts("grip style", a.style, b.style),
        _compare_lengths("span to middle", a.span_middle_in, b.span_middle_in, "longer", "shorter"),
        _compare_lengths("span to ring", a.span_ring_in, b.span_ring_in, "longer", "shorter"),
        _compare_texts("spans measured to", a.span_edges, b.span_edges),
        _compare_lengths("bridge", a.bridge_in, b.bridge_in, "wider", "narrower"),
        _compare_texts("bridge measured to", a.bridge_edges, b.bridge_edges),
        _compare_texts("thumb hardware", format_label(a), format_label(b)),
    ]
    for digit in DIGITS:
        old, new = a.hole(digit), b.hole(digit)
        lines.append(_compare_lengths(f"{digit} hole", old.hole_in, new.hole_in, "larger", "smaller"))
        if digit == "thumb":
            lines.append(_compare_lengths("thumb oval", old.oval_in, new.oval_in, "wider", "narrower"))
            lines.append(_compare_texts("thumb oval direction", _format_clock(old), _format_clock(new)))
        else:
            lines.append(_compare_lengths(f"{digit} bore for insert", old.cut_in, new.cut_in, "larger", "smaller"))
            lines.append(_compare_lengths(f"{digit} depth", old.depth_in, new.depth_in, "deeper", "shallower"))
        lines.append(
            _compare_pitches(f"{digit} pitch, forward or reverse", old.forward_in, new.forward_in, "forward", "reverse")
        )
        lines.append(_compare_pitches(f"{digit} pitch, left or right", old.right_in, new.right_in, "right", "left"))
    lines.append(_compare_texts("notes on hand and skin", a.hand_notes, b.hand_notes))
    return lines


def format_label(of: Fit) -> str:
    return of.system.label if of.system_id and of.system else "none"


def _format_clock(hole: FitHole) -> str:
    return clock_words(hole.oval_deg or 0) if hole.oval_in else "round"


def _compare_texts(what: str, old: str, new: str) -> Difference:
    return Difference(what, old or "none", new or "none", "" if old == new else "changed")


def _compare_lengths(what: str, old: Fraction | None, new: Fraction | None, more: str, less: str) -> Difference:
    words = "" if old == new else "changed" if old is None or new is None else in_64ths(new - old, more, less)
    return Difference(what, _format_value(old), _format_value(new), words)


def _compare_pitches(what: str, old: Fraction | None, new: Fraction | None, plus: str, minus: str) -> Difference:
    say = vertical_words if plus == "forward" else lateral_words
    words = "" if old == new else "changed" if old is None or new is None else pitch_change(old, new, plus, minus)
    return Difference(what, "unknown" if old is None else say(old), "unknown" if new is None else say(new), words)


def _format_value(value: Fraction | None) -> str:
    return "unknown" if value is None else inches(value)
