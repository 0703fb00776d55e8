"""Finds the shop's own hardware in what a sheet calls it: the same words are the record, nearly the same are asked.

What resembles nothing in the shop's list is unknown hardware, never none: its words are kept as a note of the fit, and
the fit is a draft until somebody chooses. Most sheets name hardware that is long gone, so it is not asked row by row.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field

from rapidfuzz import fuzz
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.models import InsertSystem
from app.schemas.fits import UNKNOWN
from app.services.bowler_words import fold_words
from app.sheets.fields import FIELDS
from app.sheets.parts import says_unknown
from app.sheets.readings import Question

WITHOUT = "none: drilled without"
PREFIX = "hardware_"  # of the question's field, which no column has
_ALIKE = 80  # ASSUMED: of 100, how alike two labels are that may mean the same
_SAYS_NONE = re.compile(
    r"(?i)(?:none|no|nil|nothing|without|n/?a|[-–—]+|(?:no|without(?: an?)?) (?:inserts?|inner|sleeve|slug))"
)
_FEEDS = {
    "system": ("system_id",),
    "middle_insert": ("middle_insert",),
    "ring_insert": ("ring_insert",),
    "inserts": ("middle_insert", "ring_insert"),
}


@dataclass
class Hardware:
    """The form's fields that hardware fills, the sheet's fields that it was found in, and what is asked.

    `words` says what each field of the sheet became.
    """

    texts: dict[str, str] = field(default_factory=dict)
    found: set[str] = field(default_factory=set)
    words: dict[str, str] = field(default_factory=dict)
    questions: list[Question] = field(default_factory=list)


def find_hardware(session: Session, beside: Mapping[str, str], answers: Mapping[str, str]) -> Hardware:
    """Returns what becomes of the hardware that a row names."""
    told = Hardware()
    named = {name: beside[name] for name in _FEEDS if beside.get(name)}
    if not named:
        return told
    known: dict[str, dict[str, int]] = {"thumb": {}, "finger": {}}
    ours = select(InsertSystem.id, InsertSystem.label, InsertSystem.digit).where(InsertSystem.removed_at.is_(None))
    for number, label, digit in session.execute(ours):
        known.setdefault(digit, {})[label] = number
    for name, text in named.items():
        answer = answers.get(PREFIX + name, "")
        if answer == WITHOUT or (not answer and _SAYS_NONE.fullmatch(text)):
            told.words[name] = "none"
            continue
        labels = known["thumb" if name == "system" else "finger"]
        found, near = _match(answer or text, labels)
        if found:
            told.texts |= dict.fromkeys(_FEEDS[name], str(labels[found]))
            told.found.add(name)
            told.words[name] = found
        elif not says_unknown(answer or text) and (near or answer):
            message = f"Which of our hardware is it: {FIELDS[name].words}?"
            told.questions.append(Question(PREFIX + name, message, (*near, WITHOUT, UNKNOWN), text))
        else:
            told.texts = dict.fromkeys(_FEEDS[name], UNKNOWN) | told.texts
            told.words[name] = "unknown which"
    return told


def list_hardware(
    session: Session, beside: Mapping[str, str], answers: Mapping[str, str]
) -> list[tuple[str, str, str]]:
    """Returns (field, as typed, what it becomes or nothing if that is asked) of the hardware that a row names."""
    told = find_hardware(session, beside, answers)
    return [(name, beside[name], told.words.get(name, "")) for name in _FEEDS if beside.get(name)]


def _match(text: str, labels: Mapping[str, int]) -> tuple[str, tuple[str, ...]]:
    """Returns the label of the very same words, empty if none has them, and those that are nearly so."""
    words = fold_words(text)
    same = [label for label in labels if fold_words(label) == words]
    if len(same) == 1:
        return same[0], ()
    return "", tuple(label for label in sorted(labels) if _is_near(words, fold_words(label)))[:7]


def _is_near(words: tuple[str, ...], others: tuple[str, ...]) -> bool:
    is_part = bool(words) and (set(words) <= set(others) or set(others) <= set(words))
    return is_part or fuzz.ratio(" ".join(words), " ".join(others)) >= _ALIKE
