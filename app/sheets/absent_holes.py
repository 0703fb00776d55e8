"""Tells a hole that is not there from one of which nothing is known: every cell of it says none, or is crossed out."""

from app.closed_sets import DIGITS
from app.sheets.fields import FIELDS
from app.sheets.parts import ABSENT, clean_text
from app.sheets.readings import Draft

_NONE = {"none", "no", "no hole", "nil"}
_CROSSED_OUT = {"-", "--", "n/a", "na", "x"}
WITHOUT = {"thumb": "thumbless", "middle": "thumb_ring", "ring": "thumb_middle"}


def settle_absent(draft: Draft) -> tuple[str, str]:
    """Returns the holes of a grip whose sheet says that one is none, and the digit of one that may be none.

    What the cells of a hole ask that is not there is asked no more.
    """
    for digit in DIGITS:
        cells = {name: clean_text(p.as_typed) for name, p in draft.parts.items() if FIELDS[name].hole == digit}
        typed = {name: text for name, text in cells.items() if text}
        if not typed or set(typed) & set(draft.answers):
            continue
        says_none, said = typed.get(f"{digit}_hole") in _NONE, set(typed.values())
        if says_none and said <= _NONE | _CROSSED_OUT:
            for name in typed:
                draft.parts[name] = ABSENT
                draft.questions.pop(name, None)
            return WITHOUT[digit], ""
        if says_none or (len(typed) > 1 and said <= _NONE | _CROSSED_OUT):
            return "", digit
    return "", ""
