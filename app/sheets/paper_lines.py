"""Reads a paper card from what is typed off it: whose it is, one line a hole, and what else stands on it.

Its lines become the row of a sheet, so that a card and a spreadsheet are read by the same rules.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from app.closed_sets import DIGITS, DIGITS_OF
from app.sheets.cells import Cell
from app.sheets.columns import Column, Columns
from app.sheets.conventions import CHOICES, Conventions
from app.sheets.fields import FIELDS
from app.sheets.grips import HOLES, read_edges, read_holes, read_style
from app.sheets.lines import MARK, Parted, part_line
from app.sheets.parts import Part, tidy
from app.sheets.people import part_hand, read_hand
from app.sheets.readings import Draft, Question, RowReading
from app.sheets.rows import RowReader

LINES = ("name", "middle", "ring", "thumb", "rest")
PARTED = "parting "  # prefix of the question how a line is parted
ORDERS: dict[str, str] = {
    "span forward lateral hole": "span, forward or reverse, lateral, size",
    "span lateral forward hole": "span, lateral, forward or reverse, size",
    "span hole forward lateral": "span, size, forward or reverse, lateral",
    "hole forward lateral span": "size, forward or reverse, lateral, span",
}
USUAL_ORDER = next(iter(ORDERS))
SHOWN: dict[str, tuple[str, str]] = {  # conventions of a stack: the key that changes each, and its words
    "line_order": ("O", "In a line"),
    "first_finger": ("M", "First"),
    "span_edges": ("S", "Spans"),
    "bridge_edges": ("B", "Bridge"),
    "plain_vertical": ("P", "No letter, along"),
    "plain_lateral": ("L", "No letter, across"),
    "seen_from": ("V", "Sides"),
    "units": ("U", "Units"),
    "pitch_units": ("I", "Pitches in"),
    "comma": ("K", "Comma"),
    "style": ("Y", "Style"),
    "hand": ("H", "Hand"),
    "datum": ("N", "Bore depth"),
}
WAYS: dict[str, dict[str, str]] = {name: ORDERS if name == "line_order" else CHOICES[name] for name in SHOWN}
WAYS["pitch_units"] = {"": "the units of lengths", **CHOICES["pitch_units"]}
_WORDS_OF_REST = {
    "b": "bridge", "bridge": "bridge", "tel": "phone", "phone": "phone", "ph": "phone", "on": "fit_date",
    "day": "fit_date", "date": "fit_date", "ball": "ball_label", "serial": "ball_serial", "league": "league",
    "guardian": "guardian", "depth": "bore_depth", "system": "system", "offset": "thumb_offset",
    "note": "hand_notes", "card": "number", "hand": "hand", "pap": "axis_point", "axis": "axis_point",
}  # fmt: skip
_OF_WHOLE = {"grip_holes", "spans"}  # asked once every line is parted
_SURE = Conventions(  # under which ways to part a line are compared: what the stack leaves open is asked anyway
    span_edges="cut", plain_vertical="forward", plain_lateral="right", seen_from="outside", units="in",
    pitch_units="in", comma="decimal", hand="right",
)  # fmt: skip
_NUMBER = re.compile(r"\d")
_NO_HOLE = re.compile(r"-{1,2}|none|no|nil", re.IGNORECASE)
_BRIDGE = re.compile(
    r"(?i)(?:b|bridge)\s*[.:=]?\s*(?P<size>[\d.½¼¾].*)|(?P<before>[\d.½¼¾].*?)\s*(?<![a-z])(?:b|bridge)\.?"
)


@dataclass(frozen=True)
class PaperReading:
    """A card as read: the row, its questions by line, and the piece of each field as it was parted."""

    row: RowReading
    questions: dict[str, tuple[Question, ...]] = field(default_factory=dict)
    cells: dict[str, str] = field(default_factory=dict)

    @property
    def is_asked(self) -> bool:
        return any(self.questions.values())


def line_of(name: str) -> str:
    """Returns the line to which a question belongs."""
    if name.startswith(PARTED):
        return name.removeprefix(PARTED)
    of = FIELDS.get(name)
    if of and of.hole in LINES:
        return of.hole
    if name in {"name", "hand", "bowler", "jump"}:
        return "name"
    return "ring" if name == "spans" else "rest"


def split_ways(ways: Mapping[str, str]) -> tuple[Conventions, str]:
    """Returns the conventions of a stack and the order of measures in its lines; ValueError for what is none."""
    order = ways.get("line_order") or USUAL_ORDER
    if order not in ORDERS:
        raise ValueError(f"no order {order!r}")
    said = {name: value for name, value in ways.items() if name != "line_order"}
    said["pitch_units"] = said.get("pitch_units") or said.get("units", "")
    return Conventions.from_json(said), order


def next_way(name: str, now: str) -> str:
    """Returns the way after this one, and after the last one that it is asked of each card; ValueError for no way."""
    if name not in WAYS:
        raise ValueError(f"no convention {name!r}")
    listed = [*WAYS[name], *([] if name in {"line_order", "first_finger"} else [""])]
    return listed[(listed.index(now) + 1) % len(listed)] if now in listed else listed[0]


def read_card(number: int, lines: Mapping[str, str], ways: Mapping[str, str], said: Mapping[str, str]) -> PaperReading:
    """Reads a card's lines under the ways of its stack; `said` are answers to its questions by field."""
    conventions, order = split_ways(ways)
    cells, asked = _split_name(lines.get("name", "")), dict[str, Question]()
    rest = _split_rest(lines.get("rest", ""), conventions)
    hands = [part["hand"] for part in (cells, rest) if "hand" in part]
    if len({read_hand(Cell(hand, "text"), conventions).as_read for hand in hands}) > 1:
        rest["hand"] = " or ".join(hands)  # two hands are asked
    reader = PieceReader(conventions, rest.get("hand", cells.get("hand", "")))
    for digit in ("middle", "ring", "thumb"):
        names = _list_names(digit, order)
        text = said.get(f"{PARTED}{digit}") or lines.get(digit, "")
        if _says_holes(without := f"no {digit}" if _NO_HOLE.fullmatch(text.strip()) else text):
            _add(rest, "grip_holes", without)
            continue
        parted = part_line(text, names, reader.read)
        cells |= parted.cells
        if parted.message:
            asked[f"{PARTED}{digit}"] = _ask_parting(digit, names, lines[digit], parted)
    if left_out := _find_measured(said.get("grip_holes") or rest.get("grip_holes", ""), cells):
        asked["grip_holes"] = Question(
            "grip_holes", f"Measures of the {left_out} stand here. Empty them, or:", ("three",)
        )
        said, rest = {n: v for n, v in said.items() if n != "grip_holes"}, rest | {"grip_holes": "three"}
    lone = _take_lone(rest, reader)
    row = _read_row(number, cells | rest, conventions, said)
    if lone and "bridge" not in said and row.fit.get("bridge"):
        message = "Is it the bridge? If it is not, write “note” before it."
        asked["bridge"] = Question("bridge", message, (row.fit["bridge"],), lone)
    if not cells["name"]:
        row = replace(row, questions=tuple(q for q in row.questions if q.field != "name"))
        asked["name"] = Question("name", "Whose card is it?")
    elif row.outcome == "refused":
        asked["name"] = Question("name", row.reason)
    by_line: dict[str, tuple[Question, ...]] = {}
    for question in (*asked.values(), *(q for q in row.questions if q.field not in _OF_WHOLE or not asked)):
        line = line_of(question.field)
        by_line[line] = (*by_line.get(line, ()), question)
    return PaperReading(row, by_line, cells | rest)


def _find_measured(holes: str, cells: Mapping[str, str]) -> str:
    """Returns a hole of which measures stand on the card, though it says that there is none."""
    said = holes if holes in HOLES else read_holes(Cell(holes, "text"), Conventions()).as_read
    digits = DIGITS_OF.get(said, DIGITS)
    return next((d for d in DIGITS if d not in digits and f"{d}_hole" in cells), "")


def _ask_parting(digit: str, names: list[str], line: str, parted: Parted) -> Question:
    wanted = ", ".join(FIELDS[name].words.partition(": ")[2] or "span" for name in names)
    return Question(f"{PARTED}{digit}", f"{parted.message} Wanted: {wanted}.", parted.choices, line)


def _list_names(digit: str, order: str) -> list[str]:
    parts = [part for part in order.split() if digit != "thumb" or part != "span"]
    return [f"span_{digit}" if part == "span" else f"{digit}_{part}" for part in parts]


def _split_name(line: str) -> dict[str, str]:
    """Returns name and hand of `Odo Brandt, r`."""
    before, comma, last = tidy(line).rpartition(",")
    hand = read_hand(Cell(last.strip(), "text"), Conventions())
    if comma and before and hand.state == "value":
        return {"name": before.strip(), "hand": last.strip()}
    name, marked = part_hand(line)
    return {"name": name, "hand": marked} if marked and " " in name else {"name": tidy(line)}


def _split_rest(line: str, conventions: Conventions) -> dict[str, str]:
    """Returns what `b 1/4; phone 555 0100; on 2019-03-08; sleeve` says by field; other words are a note."""
    found: dict[str, str] = {}
    for piece in filter(None, (p.strip() for p in line.split(";"))):
        word, _, text = piece.partition(" ")
        name = _WORDS_OF_REST.get(word.lower().rstrip(":"), "")
        cell, bridge = Cell(piece, "text"), _BRIDGE.fullmatch(piece)
        if bridge:
            _add(found, "bridge", bridge["size"] or bridge["before"])
        elif name and text.strip():
            _add(found, name, text.strip())
            if name == "axis_point":
                _add(found, "hand_notes", piece)  # a fit keeps no axis point
        elif not _NUMBER.search(piece) and read_edges(cell, conventions).state == "value":
            _add(found, "span_edges", piece)
        elif _says_holes(piece):
            _add(found, "grip_holes", piece)
        elif not _NUMBER.search(piece) and read_style(cell, conventions).state == "value":
            _add(found, "style", piece)
        else:
            _add(found, "hand_notes", piece)
    return found


def _says_holes(text: str) -> bool:
    """Whether a text without a figure says which holes a grip has, as `no thumb` does."""
    return not _NUMBER.search(text) and read_holes(Cell(text, "text"), Conventions()).state == "value"


def _take_lone(rest: dict[str, str], reader: "PieceReader") -> str:
    """Makes the one note that is nothing but a possible bridge the bridge, and returns it; empty if there is none."""
    notes = rest.get("hand_notes", "").split(MARK)
    lone = [n for n in notes if _NUMBER.match(n) and reader.read("bridge", n).state == "value"]
    if len(lone) != 1 or "bridge" in rest:
        return ""
    rest["bridge"] = lone[0]
    rest["hand_notes"] = MARK.join(note for note in notes if note != lone[0])
    if not rest["hand_notes"]:
        del rest["hand_notes"]
    return lone[0]


def _add(found: dict[str, str], name: str, text: str) -> None:
    found[name] = f"{found[name]}; {text}" if name in found else text


class PieceReader:
    """Reads single pieces as cells of their columns."""

    def __init__(self, conventions: Conventions, hand: str) -> None:
        said = {name: value for name, value in conventions.to_json().items() if value}
        self._conventions = replace(_SURE, **said)
        self._hand = read_hand(Cell(hand, "text"), conventions).as_read or self._conventions.hand

    def read(self, name: str, text: str) -> Part:
        columns = Columns((Column(0, "", name),), 0)
        reader = RowReader(columns, self._conventions)
        return reader.read_field(Draft({}), name, (Cell(text, "text"),), (), self._hand)


def _read_row(number: int, cells: Mapping[str, str], conventions: Conventions, said: Mapping[str, str]) -> RowReading:
    names = [name for name in FIELDS if name in cells]
    columns = Columns(tuple(Column(i, "", name) for i, name in enumerate(names)), 0)
    row = tuple(Cell(cells[name], "text" if cells[name] else "empty") for name in names)
    reading = RowReader(columns, conventions).read(number, row, (), said)
    return replace(reading, questions=tuple(q for q in reading.questions if not q.field.startswith(PARTED)))


def write_lines(lines: Mapping[str, str]) -> str:
    """Returns the typed lines for the history."""
    return MARK.join(f"{name}: {lines[name]}" for name in LINES if lines.get(name))
