"""Reads the rows of a sheet under its columns and conventions into the fields of the app's forms."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

from app.closed_sets import DIGITS
from app.sheets import grips, people
from app.sheets.cells import Cell, Row, Sheet, get_cell
from app.sheets.columns import Column, Columns
from app.sheets.conventions import Conventions
from app.sheets.damages import has_words
from app.sheets.directions import read_lateral, read_vertical
from app.sheets.fields import FIELDS
from app.sheets.fits import fill_fit
from app.sheets.habits import Habits, ask_about_habits
from app.sheets.headed import ask_about_pitch, ask_about_spans, list_held
from app.sheets.own_tables import is_own, read_exact
from app.sheets.parts import ABSENT, Part, ask, find_damage, offer_possible, read_described, says_same, tidy
from app.sheets.pitch_pairs import read_both_ways
from app.sheets.readings import CellReading, Draft, RowReading

_MOST_REMEMBERED = 20_000
_LONGEST = {"notes": 2000, "hand_notes": 2000, "league": 80, "guardian": 160}
_LONGEST_LABEL = 80
_REPEATED = {"span", "pair", "bridge", "hole", "oval", "pitch", "vertical", "lateral", "offset", "depth", "towards"}
_OF_A_PERSON = {"name", "first_name", "last_name", "phone", "hand", "league", "guardian", "notes", "number"}
NOTHING: Mapping[str, str] = {}


class RowReader:
    """Reads rows of one sheet. Equal cells of a column are read once, so that time grows with what differs."""

    def __init__(self, columns: Columns, conventions: Conventions, habits: Habits | None = None) -> None:
        self.columns, self.conventions = columns, conventions
        self.habits = habits or Habits()
        self.is_own = is_own([(column.heading, column.field) for column in columns.columns])
        self.held = list_held(columns, conventions)
        self._by_field: dict[str, list[Column]] = {}
        for column in columns.columns:
            if column.field:
                self._by_field.setdefault(column.field, []).append(column)
        self._headings = {c.index: tidy(c.heading).lower() for c in columns.columns}
        self._known: dict[tuple[object, ...], Part] = {}

    def read(self, number: int, row: Row, above: Row = (), answers: Mapping[str, str] = NOTHING) -> RowReading:
        """Reads one row; `above` is the filled row before it, `answers` are those to its questions by field."""
        draft = Draft(answers)
        refusal = self._find_refusal(row)
        if refusal:
            return RowReading(number, "refused", refusal)
        self._read_person(draft, row, above)
        hand = draft.bowler.get("hand", "")
        for name in self._by_field:
            if name not in _OF_A_PERSON:
                draft.parts[name] = self.read_field(draft, name, row, above, hand)
        self._doubt_headings(draft, row, hand)
        fill_fit(draft, self.conventions)
        ask_about_habits(draft, self.habits)
        if draft.kept:
            draft.fit["hand_notes"] = "; ".join([*filter(None, [draft.fit.get("hand_notes", "")]), *draft.kept])
        return RowReading(
            number, "asked" if draft.questions else "taken", "", draft.bowler, draft.fit, draft.beside, draft.words,
            tuple(draft.cells), tuple(draft.questions.values()),
        )  # fmt: skip

    def _doubt_headings(self, draft: Draft, row: Row, hand: str) -> None:
        """Asks about measures whose two columns may be swapped, with either reading."""
        for digit in DIGITS:
            ahead, across = (self._by_field.get(f"{digit}_{way}", []) for way in ("forward", "lateral"))
            if ahead and across:
                turned = (
                    self._read_under(ahead[0], across[0], row, hand),
                    self._read_under(across[0], ahead[0], row, hand),
                )
                ask_about_pitch(draft, digit, turned, digit in self.held)
        if "spans" in self.held:
            ask_about_spans(draft)

    def _read_under(self, heading: Column, column: Column, row: Row, hand: str) -> Part:
        """Reads a cell of one column as if it stood under another's heading."""
        return self._read_cell(replace(heading, says=""), get_cell(row, column.index), hand)

    def _find_refusal(self, row: Row) -> str:
        """Returns why a row cannot be anybody's; empty if it may be."""
        if self._repeats_headings(row):
            return "It repeats the headings."
        names = [get_cell(row, c.index) for n in ("name", "first_name", "last_name") for c in self._by_field.get(n, [])]
        named = " ".join(c.text for c in names if c.kind in {"text", "formula"} and not c.is_empty)
        if named and people.is_no_name(named):
            return f"“{tidy(named)}” is no name."
        if not named and any(not c.is_empty for c in names):
            return f"“{tidy(next(c.text for c in names if not c.is_empty))}” is no name."
        measures = [n for n in self._by_field if n not in _OF_A_PERSON]
        if not named and not any(not get_cell(row, c.index).is_empty for n in measures for c in self._by_field[n]):
            return "There is no name in it."
        return "" if self._by_field.keys() & {"name", "first_name", "last_name"} else "No column has the name."

    def _repeats_headings(self, row: Row) -> bool:
        named = [c for n in ("name", "first_name", "last_name") for c in self._by_field.get(n, [])]
        if not any(self._is_heading(c.index, row) for c in named):
            return False
        filled = [i for i in self._headings if not get_cell(row, i).is_empty]
        return sum(self._is_heading(i, row) for i in filled) >= max(2, len(filled) * 0.6)

    def _is_heading(self, index: int, row: Row) -> bool:
        text = tidy(get_cell(row, index).text).lower()
        return bool(text) and (text == self._headings[index] or self._headings[index].endswith(f" {text}"))

    # The person -----------------------------------------------------------------------------------------------

    def _read_person(self, draft: Draft, row: Row, above: Row) -> None:
        for name in ("name", "phone", "league", "guardian", "notes", "number"):
            part = (
                self._read_name(draft, row, above) if name == "name" else self.read_field(draft, name, row, above, "")
            )
            if part.as_read and name != "number":
                draft.bowler[name] = part.as_read
                draft.words[name] = part.words
            elif part.as_read:
                draft.beside[name] = part.as_read
        self._settle_hand(draft, row, above)

    def _read_name(self, draft: Draft, row: Row, above: Row) -> Part:
        if "name" in self._by_field:
            part = self.read_field(draft, "name", row, above, "")
        else:
            first, last = (self.read_field(draft, n, row, above, "") for n in ("first_name", "last_name"))
            words = " ".join(p.as_read for p in (first, last) if p.as_read)
            part = draft.take("name", Part(words, "value" if words else "absent", words, words))
        if part.state == "absent":
            over = [get_cell(above, c.index).text for c in self._by_field.get("name", [])]
            draft.ask("name", "There is no name in this row. Is it the bowler above?", tuple(filter(None, over)))
        return part

    def _settle_hand(self, draft: Draft, row: Row, above: Row) -> None:
        """Takes the hand of its column, of a mark behind the name, or of the file; asks where they contradict."""
        part = self.read_field(draft, "hand", row, above, "")
        texts = {
            name: [get_cell(row, column.index).text for column in self._by_field.get(name, [])]
            for name in ("name", "notes", "hand_notes")
        }
        said = {people.part_hand(text)[1] for text in texts["name"]}
        said |= {people.find_hand_in(text) for text in texts["notes"] + texts["hand_notes"]}
        said -= {""}
        is_doubtful = not said and any(people.has_hand_in_name(text) for text in texts["name"])
        if part.state == "value" and "hand" not in draft.answers and said - {part.as_read}:
            draft.ask("hand", "The row names both hands. Which is it?", ("right", "left"), part.as_typed)
        elif part.state == "value":
            draft.bowler["hand"] = part.as_read
        elif part.state == "absent":
            hand = said.pop() if len(said) == 1 else "" if said or is_doubtful else self.conventions.hand
            if hand:
                draft.bowler["hand"] = hand
            else:
                draft.ask("hand", "Which hand?", ("right", "left"))
        draft.words["hand"] = f"{draft.bowler.get('hand', 'unknown')} hand"

    # Cells ----------------------------------------------------------------------------------------------------

    def read_field(self, draft: Draft, name: str, row: Row, above: Row, hand: str) -> Part:
        """Reads every column of a field, notes each cell, and returns the field's part as answered."""
        parts: list[Part] = []
        for column in self._by_field.get(name, []):
            cell = get_cell(row, column.index)
            is_same = FIELDS[name].kind in _REPEATED and says_same(cell.text)
            part = (
                self._ask_the_same(column, cell, (row, above), hand) if is_same else self._read_cell(column, cell, hand)
            )
            if part.state == "ask" and name in draft.answers and has_words(cell.text) and FIELDS[name].hole:
                draft.kept.append(f"{FIELDS[name].words}, as in the sheet: {tidy(cell.text)[:200]}")
            if not cell.is_empty:
                draft.cells.append(
                    CellReading(column.index, name, cell.text, part.as_read, part.words, part.state, part.told)
                )
            parts.append(part)
        return draft.take(name, _join(name, parts))

    def _ask_the_same(self, column: Column, cell: Cell, rows: tuple[Row, Row], hand: str) -> Part:
        """Asks what “same” repeats, and offers the other finger's measure before it, else that of the row above."""
        row, above = rows
        before = self._by_field.get(column.field.replace("ring", "middle"), [column])[0]
        repeated = get_cell(above if before is column else row, before.index)
        part = (
            ABSENT if says_same(repeated.text) else self._read_cell(replace(before, field=column.field), repeated, hand)
        )
        return ask(cell, "The same as what?", *([part.as_read] if part.as_read else []))

    def _read_cell(self, column: Column, cell: Cell, hand: str) -> Part:
        if cell.is_empty:
            return ABSENT
        if FIELDS[column.field].kind not in _REPEATED:
            return self._read_new(column, cell, hand)
        key = (column.field, column.says, cell, hand if FIELDS[column.field].hole == "thumb" else "")
        known = self._known.get(key)
        if known is None:
            if len(self._known) >= _MOST_REMEMBERED:
                self._known.clear()
            known = self._known[key] = _offer(column.field, self._read_new(column, cell, hand))
        return known

    def _read_new(self, column: Column, cell: Cell, hand: str) -> Part:
        of, conventions = FIELDS[column.field], self.conventions
        if self.is_own and of.kind in _REPEATED:
            return read_exact(cell, of.kind, hand, of.hole)
        if of.kind == "vertical":
            return read_vertical(cell, conventions, column.says)
        if of.kind == "lateral":
            return read_lateral(cell, conventions, (hand, of.hole), column.says)
        if of.kind == "pitch":
            return read_both_ways(cell, conventions, (hand, of.hole))
        if of.kind in {"offset", "axis_point", "towards"}:
            return find_damage(cell) or read_described(cell, of.kind, tidy(cell.text))
        measure = grips.read_bore_depth if column.field == "bore_depth" else _MEASURES.get(of.kind)
        return measure(cell, conventions) if measure else _read_text(column.field, cell, conventions)


_OFFERED = {"span": "span", "pair": "span_pair", "bridge": "bridge", "hole": "oval", "pitch": "pitch", "depth": "depth"}


def _offer(name: str, part: Part) -> Part:
    """Returns a part without impossible choices; what a date may have been is offered whole."""
    of = FIELDS[name]
    if part.state != "ask" or of.kind not in _OFFERED or "date" in part.message:
        return part
    return offer_possible(part, _OFFERED[of.kind], of.hole)


_MEASURES: dict[str, Callable[[Cell, Conventions], Part]] = {
    "span": grips.read_span, "bridge": grips.read_bridge, "depth": grips.read_depth,
    "hole": grips.read_hole, "oval": grips.read_oval_text, "pair": grips.read_pair,
}  # fmt: skip
_TEXTS: dict[str, Callable[[Cell, Conventions], Part]] = {
    "name": people.read_name, "fit_date": people.read_day, "phone": people.read_phone, "hand": people.read_hand,
    "style": grips.read_style, "grip_holes": grips.read_holes, "span_edges": grips.read_edges,
    "bridge_edges": grips.read_edges,
}  # fmt: skip


def _read_text(name: str, cell: Cell, conventions: Conventions) -> Part:
    if name in _TEXTS:
        return _TEXTS[name](cell, conventions)
    text = cell.text.strip() if FIELDS[name].kind == "note" else tidy(cell.text)
    most = _LONGEST.get(name, _LONGEST_LABEL)
    if cell.kind == "error":
        return ask(cell, "The spreadsheet shows an error here. What is it?", "")
    if cell.kind == "date" and FIELDS[name].kind == "label":
        return ask(cell, "The spreadsheet made a date of this. What is it?", "")
    if len(text) > most:
        return ask(cell, f"That is longer than the {most} characters kept here. Shorten it.", text[:most])
    return Part(cell.text, "value", text, text)


def _join(name: str, parts: Sequence[Part]) -> Part:
    """Returns the part of a field that one or several columns feed: notes are joined, sizes may stand in one alone."""
    filled = [p for p in parts if p.state != "absent"]
    if len(filled) < 2:
        return (filled or list(parts) or [ABSENT])[0]
    typed = " | ".join(p.as_typed for p in filled)
    if FIELDS[name].kind == "note":
        asked = [p for p in filled if p.state == "ask"]
        text = "; ".join(p.as_read for p in filled)
        return asked[0] if asked else Part(typed, "value", text, text)
    sized = [p for p in filled if p.as_read != "0"]
    if len(sized) < 2:
        return (sized or filled)[0]
    choices = tuple(c for p in sized for c in (p.choices or (p.as_read,)))
    return Part(typed, "ask", message="Two columns say different things. Which is meant?", choices=choices)


def find_habits(reader: RowReader, sheet: Sheet) -> Habits:
    """Returns what nearly every row of a sheet does: to which side thumbs lean, and how long phones are."""
    habits = Habits()
    for row in () if reader.is_own else sheet.rows[reader.columns.first_row :]:
        for column in reader.columns.list_of("phone"):
            habits.count_phone(get_cell(row, column.index))
        hands = [
            people.read_hand(get_cell(row, c.index), reader.conventions).as_read for c in reader.columns.list_of("hand")
        ]
        hand = (hands or [reader.conventions.hand])[0] or reader.conventions.hand
        draft = Draft(NOTHING)
        for name in ("thumb_lateral", "thumb_pitch"):
            part = reader.read_field(draft, name, row, (), hand) if hand else ABSENT
            habits.count_lateral(part, hand)
    return habits
