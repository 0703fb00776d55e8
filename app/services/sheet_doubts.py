"""What a row may mistake: a bowler of the same name, and measures far from those that are known of the person.

Both are asked. Nobody is merged, and no fit in force is replaced, because a sheet seems to say so.
"""

import re
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from typing import cast

from rapidfuzz import fuzz
from sqlalchemy import ColumnElement, exists, select
from sqlalchemy.orm import Session, selectinload

from app.closed_sets import DIGITS
from app.measures.wording import exact, letter_of
from app.models import Bowler, Fit, SheetImport, SheetRow
from app.services import bowler_words, lookup, sheet_rows, words
from app.services.sheet_rows import make_name_key
from app.sheets.readings import Question

NOBODY_KNOWN = "somebody new"
AS_IN_SHEET, WITHOUT_FIT = "as in the sheet, as a draft", "take the row without its fit"
_ALIKE = 85  # as where a bowler is registered by hand
_LOOKED_AT = 50
_MOST_OFFERED = 7
_SPAN_JUMP, _PITCH_JUMP, _SIZE_JUMP = (
    Fraction(1, 4),
    Fraction(1, 8),
    Fraction(1, 16),
)  # inches; common practice, no source
_CHOSEN = re.compile(r"(no\.|row) (\d+)\b")


@dataclass(frozen=True)
class Person:
    """Whom a row names."""

    number: int
    name: str
    phone: str


def name_choices(session: Session, of: SheetImport, row: SheetRow) -> dict[str, str]:
    """Returns the words of each choice among namesakes: what tells them apart at the counter."""
    listed = [str(c) for q in row.questions if q["field"] == "bowler" for c in cast(list[object], q["choices"])]
    chosen = {choice: read_chosen(choice) for choice in listed}
    ids = [number for kind, number in chosen.values() if kind == "no."]
    people = {b.id: b for b in session.scalars(select(Bowler).where(Bowler.id.in_(ids)))} if ids else {}
    told = {}
    for choice, (kind, number) in chosen.items():
        if kind == "no." and number in people:
            person = people[number]
            told[choice] = _tell(choice, (person.name, person.hand, person.league, person.phone_last4))
        elif kind == "row":
            read = sheet_rows.read_one(session, of, sheet_rows.get_row(session, of, number)).reading.bowler
            digits = re.sub(r"\D", "", read.get("phone", ""))
            of_row = (read.get("name", "no name"), read.get("hand", "unknown"), read.get("league", ""), digits[-4:])
            told[choice] = _tell(f"{choice} of this sheet", of_row)
    return told


def _tell(where: str, told: tuple[str, str, str, str]) -> str:
    name, hand, league, tail = told
    return f"{where}: {name}, {hand} hand{', ' + league if league else ''}{f', phone …{tail}' if tail else ''}"


@dataclass
class Namesakes:
    """Who else may be meant by the rows of one pass: records that the import did not make, and rows before."""

    session: Session
    of: SheetImport
    known: dict[int, list[str]] = field(default_factory=lambda: defaultdict(list))

    def find(self, people: Sequence[Person]) -> dict[int, list[str]]:
        """Returns the choices for each row's number, `no. 5` or `row 3`: no name is kept in another person's row."""
        self.known = defaultdict(list)
        self._find_records(people)
        self._find_rows(people)
        return self.known

    def _find_records(self, people: Sequence[Person]) -> None:
        """By the look-up, by the rule of registering: nearly the same name, or the same phone."""
        if self.session.scalar(select(Bowler.id).where(~self._is_made()).limit(1)) is None:
            return
        by_phone = {p.number: set(lookup.find_by_phone(self.session, p.phone)) if p.phone else set() for p in people}
        known = words.get_words(self.session)
        by_name = {
            p.number: {f.bowler_id for f in lookup.look_up(self.session, p.name, _LOOKED_AT, known)} for p in people
        }
        records = self._load({i for found in (by_phone, by_name) for ids in found.values() for i in ids})
        for person in people:
            key = make_name_key(person.name)
            for bowler_id in sorted(by_phone[person.number] | by_name[person.number]):
                record = records.get(bowler_id)
                if record and (bowler_id in by_phone[person.number] or is_alike(key, record.name)):
                    self.known[person.number].append(f"no. {record.id}")

    def _load(self, ids: Iterable[int]) -> dict[int, Bowler]:
        here = (Bowler.id.in_(list(ids)), ~self._is_made())
        in_use = (Bowler.erased_at.is_(None), Bowler.merged_into_id.is_(None), Bowler.removed_at.is_(None))
        return {b.id: b for b in self.session.scalars(select(Bowler).where(*here, *in_use))} if ids else {}

    def _is_made(self) -> ColumnElement[bool]:
        """Whether a bowler is one whom this import made; asked of each by its index, however many there are."""
        return exists().where(
            SheetRow.bowler_id == Bowler.id, SheetRow.import_id == self.of.id, SheetRow.made_bowler.is_(True)
        )

    def _find_rows(self, people: Sequence[Person]) -> None:
        """By the very same words of the name: a family shares its phone, and its rows are not asked for that."""
        keys = {p.number: make_name_key(p.name) for p in people}
        same = (
            SheetRow.import_id == self.of.id,
            SheetRow.name_key.in_(set(keys.values())),
            SheetRow.outcome != "refused",
        )
        found = select(SheetRow.number, SheetRow.name_key, SheetRow.answers).where(*same, SheetRow.name_key != "")
        rows: dict[str, list[int]] = defaultdict(list)
        for number, key, answers in self.session.execute(found):
            if not str(answers.get("bowler", "")).startswith(("row ", "no. ")):
                rows[key].append(number)
        for person in sorted(people, key=lambda p: p.number):
            others = sorted({n for n in rows[keys[person.number]] if n < person.number})
            self.known[person.number] += [f"row {n}" for n in others]
            rows[keys[person.number]].append(person.number)


def is_alike(key: str, name: str) -> bool:
    return fuzz.ratio(key, " ".join(sorted(bowler_words.fold_words(name)))) >= _ALIKE


def ask_who(person: Person, choices: Sequence[str]) -> Question:
    return Question(
        "bowler", "Is this somebody we have already?", (*choices[:_MOST_OFFERED], NOBODY_KNOWN), person.name
    )


def read_chosen(answer: str) -> tuple[str, int]:
    """Returns ("no.", id of the bowler) or ("row", number of the row) as answered, ("", 0) for somebody new."""
    found = _CHOSEN.match(answer)
    return (found[1], int(found[2])) if found else ("", 0)


# Jumps ----------------------------------------------------------------------------------------------------------------


def find_last(session: Session, bowler_id: int, hand: str) -> Fit | None:
    """Returns the last fit of a hand that was not discarded, with its holes."""
    of_hand = (Fit.bowler_id == bowler_id, Fit.hand == hand, Fit.state != "discarded")
    return session.scalar(
        select(Fit).where(*of_hand).options(selectinload(Fit.holes)).order_by(Fit.revision.desc()).limit(1)
    )


def is_same(known: Fit, told: Fit) -> bool:
    """Whether a fit says the same as one that is known, in every measure."""
    names = ("grip_holes", "style", "span_middle_in", "span_ring_in", "span_edges", "bridge_in", "bridge_edges")
    of_hole = ("hole_in", "cut_in", "oval_in", "oval_deg", "forward_in", "right_in", "depth_in", "offset_in")
    hardware = [(known.system_id, told.system_id)]
    hardware += [(known.hole(d).system_id, told.hole(d).system_id) for d in DIGITS]
    if any(new and new != old for old, new in hardware):
        return False
    return all(getattr(known, n) == getattr(told, n) for n in names) and all(
        getattr(known.hole(d), n) == getattr(told.hole(d), n) for d in DIGITS for n in of_hole
    )


def find_jump(known: Fit, told: Fit) -> Question | None:
    """Returns the question of a fit that is far from the last one of this hand, or of a hand that has a draft."""
    letter = letter_of(known.revision)
    if known.state == "draft":
        message = f"Fit {letter} of this hand is still a draft, and a hand has one at most. Finish or discard it first."
        return Question("jump", message, (WITHOUT_FIT,))
    far = [
        f"{words} {exact(old)} in fit {letter}, here {exact(new)}"
        for words, old, new, most in _list_pairs(known, told)
        if old is not None and new is not None and abs(old - new) > most
    ]
    if known.span_edges != told.span_edges and "unknown" not in {known.span_edges, told.span_edges}:
        far = [f"the spans go between other edges than in fit {letter}"]
    if not far:
        return None
    return Question("jump", f"That is far from what we know: {'; '.join(far)}.", (AS_IN_SHEET, WITHOUT_FIT))


def _list_pairs(known: Fit, told: Fit) -> list[tuple[str, Fraction | None, Fraction | None, Fraction]]:
    pairs = [(f"span to the {f}", known.span_in(f), told.span_in(f), _SPAN_JUMP) for f in ("middle", "ring")]
    for digit in DIGITS:
        one, other = known.hole(digit), told.hole(digit)
        pairs += [
            (f"{digit} size", one.hole_in, other.hole_in, _SIZE_JUMP),
            (f"{digit} pitch forward", one.forward_in, other.forward_in, _PITCH_JUMP),
            (f"{digit} pitch to the right", one.right_in, other.right_in, _PITCH_JUMP),
        ]
    return pairs
