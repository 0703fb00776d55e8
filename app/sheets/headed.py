"""Doubts the headings of a sheet where its cells contradict them: pitches sideways, spans of the other finger.

One cell proves that two columns may be swapped, and then none of their cells is taken as headed until a person says so:
`1/8 R` is right or reverse by its heading alone.
"""

import re
from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction

from app.closed_sets import DIGITS
from app.measures.lengths import read_length
from app.measures.reading import SPAN
from app.sheets.cells import Row, Sheet, get_cell
from app.sheets.columns import Columns
from app.sheets.conventions import Conventions
from app.sheets.directions import names_other_way
from app.sheets.fields import FIELDS
from app.sheets.parts import ABSENT, Part, clean_text, offer_possible
from app.sheets.readings import Draft

CONVENTION_OF = {"spans": "span_headings"} | dict.fromkeys(DIGITS, "pitch_headings")
_LEAST_SPANS = 3  # ASSUMED: rows with two different spans that tell which finger's is which
_MOST_LONGER_MIDDLES = Fraction(2, 3)  # ring spans are rarely the shorter ones; common practice, no source
_WAYS = ("forward", "lateral")


def doubt_headings(sheet: Sheet, columns: Columns) -> Columns:
    """Returns columns with an example for each pair of them that the sheet's cells contradict."""
    rows = sheet.rows[columns.first_row :]
    found = {digit: _find_sideways(rows, columns, digit) for digit in DIGITS} | {"spans": _find_longer(rows, columns)}
    return replace(columns, contradicted=tuple((name, example) for name, example in found.items() if example))


def _find_sideways(rows: tuple[Row, ...], columns: Columns, digit: str) -> str:
    """Returns a cell that can only be a lateral under forward and reverse, or the other way round."""
    pair = [column for way in _WAYS for column in columns.list_of(f"{digit}_{way}")]
    if not all(columns.list_of(f"{digit}_{way}") for way in _WAYS):
        return ""
    for row in rows:
        for column in pair:
            text = get_cell(row, column.index).text
            if text and names_other_way(FIELDS[column.field].kind, text):
                return f"{text} under {column.heading}"
    return ""


def _find_longer(rows: tuple[Row, ...], columns: Columns) -> str:
    """Returns the first row whose middle span is the longer one, if most rows are so."""
    listed = [columns.list_of(f"span_{finger}") for finger in ("middle", "ring")]
    if not all(len(found) == 1 for found in listed):
        return ""
    (middle,), (ring,) = listed
    longer, others, example = 0, 0, ""
    for row in rows:
        texts = get_cell(row, middle.index).text, get_cell(row, ring.index).text
        sizes = [_read_size(text) for text in texts]
        if sizes[0] is None or sizes[1] is None or sizes[0] == sizes[1]:
            continue
        longer, others = longer + (sizes[0] > sizes[1]), others + (sizes[0] < sizes[1])
        example = example or (
            f"{texts[0]} under {middle.heading}, {texts[1]} under {ring.heading}" * (sizes[0] > sizes[1])
        )
    total = longer + others
    return example if total >= _LEAST_SPANS and longer >= _MOST_LONGER_MIDDLES * total else ""


def _read_size(text: str) -> Fraction | None:
    """Returns a span in one of the units that it may have: only its order counts here."""
    plain = re.sub(r"(?<=\d),(?=\d)", ".", clean_text(text)) if text else ""
    return next((v for t in (plain, f"{plain} mm") if plain and (v := read_length(t, SPAN).value) is not None), None)


def list_held(columns: Columns, conventions: Conventions) -> frozenset[str]:
    """Returns the digits whose pitches, and `spans` if its two columns, nobody has said to be headed rightly."""
    return frozenset(n for n, _ in columns.contradicted if not getattr(conventions, CONVENTION_OF[n]))


# Rows -----------------------------------------------------------------------------------------------------------------


def ask_about_pitch(draft: Draft, digit: str, swapped: tuple[Part, Part], is_held: bool) -> None:
    """Asks for a pitch whose columns may be swapped; `swapped` is each cell read under the other's heading."""
    names = [f"{digit}_{way}" for way in _WAYS]
    as_headed = [draft.parts.get(name, ABSENT) for name in names]
    is_proven = any(
        part.as_typed and name not in draft.answers and names_other_way(FIELDS[name].kind, part.as_typed)
        for name, part in zip(names, as_headed, strict=True)
    )
    if not (is_held or is_proven) or all(part.state == "absent" for part in as_headed):
        return
    for name in names:
        draft.questions.pop(name, None)
    choices = dict.fromkeys([*_pair(*as_headed), *_pair(*swapped)])
    typed = " | ".join(part.as_typed for part in as_headed)
    message = "The headings of two columns may be swapped. As headed, or swapped?"
    asked = offer_possible(Part(typed, "ask", message=message, choices=tuple(choices)), "pitch", digit)
    draft.parts[f"{digit}_pitch"] = draft.take(f"{digit}_pitch", asked)
    draft.parts |= dict.fromkeys(names, ABSENT)


def _pair(ahead: Part, across: Part) -> Iterator[str]:
    """Yields the pitches of two parts in the app's own writing, with each choice of a part that is asked."""
    for one in _list_texts(ahead):
        for other in _list_texts(across):
            yield "0" if one == other == "0" else f"{one}, {other}"


def _list_texts(part: Part) -> tuple[str, ...]:
    if part.state == "absent":
        return ("0",)
    return part.choices[:2] if part.state == "ask" else (part.as_read,) if part.state == "value" else ()


def ask_about_spans(draft: Draft) -> None:
    """Asks for two spans whose columns may be swapped."""
    middle, ring = (draft.parts.get(f"span_{finger}", ABSENT) for finger in ("middle", "ring"))
    if {middle.state, ring.state} != {"value"} or middle.as_read == ring.as_read:
        return
    sizes = middle.as_read, ring.as_read
    choices = tuple(f"middle {one}, ring {other}" for one, other in (sizes, sizes[::-1]))
    message = "In most rows the middle span is the longer one. As headed, or swapped?"
    part = Part(" | ".join((middle.as_typed, ring.as_typed)), "ask", message=message, choices=choices)
    draft.parts["spans"] = draft.take("spans", part)
    draft.parts |= {"span_middle": ABSENT, "span_ring": ABSENT}
