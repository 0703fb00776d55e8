"""Cards typed off a stack: read, asked about, and stored as a bowler and a fit, as rows of sheets are.

In force comes a fit of which every measure was read without a question, of somebody who has none of that hand; any
other is a draft. Either waits for a second look (`paper_checks`).
"""

from dataclasses import dataclass, field
from datetime import UTC, date, datetime

from sqlalchemy.orm import Session

from app.calculation.grip import SolvedGrip
from app.closed_sets import GRIP_HOLES_WORDS
from app.errors import InvalidError
from app.models import Bowler, CardStack, Fit, PaperCard, now
from app.photos.cleaning import CleanPhoto
from app.schemas.bowlers import BowlerForm
from app.schemas.fits import FitForm, InForceForm
from app.schemas.paper_stacks import CardForm
from app.services import bowlers, changes, fits, grips, paper_pictures, paper_stacks, sheet_doubts, sheet_forms
from app.services.sheet_doubts import AS_IN_SHEET, NOBODY_KNOWN, WITHOUT_FIT
from app.services.sheet_hardware import find_hardware
from app.sheets.fields import FIELDS
from app.sheets.paper_lines import PaperReading, line_of, read_card, write_lines
from app.sheets.readings import Question

Asked = dict[str, tuple[Question, ...]]
_MOST_PEOPLE = 8
_ON_IT = "On the card"
_OF_BALL, _OF_PERSON = ("ball_label", "ball_serial"), ("phone", "league", "guardian")
_OFFERED = {"span_edges": ("cut", "finished", "unknown")}  # where the form says no more than that it cannot be
_WORDS = GRIP_HOLES_WORDS | {
    AS_IN_SHEET: "as on the card, as a draft",
    WITHOUT_FIT: "keep the bowler, without this fit",
}


@dataclass
class Entry:
    """A card as it would be stored: its reading, what is asked by line, whose it is, and the fit as it would be."""

    reading: PaperReading
    answers: dict[str, str]
    asked: Asked
    words: dict[str, str] = field(default_factory=lambda: dict(_WORDS))  # of choices that are shown otherwise
    bowler: BowlerForm | None = None
    fit: FitForm | None = None
    owner: Bowler | None = None
    last: Fit | None = None
    told: list[str] = field(default_factory=list)
    hardware: str = ""  # what became of the hardware that it names
    noted: list[str] = field(default_factory=list)  # what has no field of the fit, and becomes its note

    @property
    def is_asked(self) -> bool:
        return any(self.asked.values())

    def ask(self, question: Question) -> None:
        line = line_of(question.field.removeprefix(sheet_forms.AT_FORM))
        self.asked[line] = (*self.asked.get(line, ()), question)


def keep_answers(form: CardForm) -> dict[str, str]:
    """Returns the answers whose line is as it was when they were given."""
    lines = {name: line_of(name.removeprefix(sheet_forms.AT_FORM)) for name in form.said}
    return {n: text for n, text in form.said.items() if form.at.get(lines[n], "") == form.lines.get(lines[n], "")}


def read(session: Session, stack: CardStack, card: PaperCard, form: CardForm) -> Entry:
    """Reads what is typed off a card and asks what it leaves open; stores nothing."""
    said = keep_answers(form)
    reading = read_card(card.number, form.lines, stack.ways, said)
    entry = Entry(reading, said, dict(reading.questions))
    with session.no_autoflush:
        _find_owner(session, entry, form.who)
        if not entry.is_asked:
            _build(session, entry, stack, card, form.who)
    return entry


def _find_owner(session: Session, entry: Entry, who: int) -> None:
    """Finds whose card it is; namesakes are proposed with what tells them apart, and never merged."""
    told = entry.reading.row.bowler
    if not told.get("name") or not told.get("hand"):
        return
    try:
        entry.bowler = BowlerForm.read({**told, "who": who, "is_somebody_else": True})
    except InvalidError as error:
        for name, wrong in error.fields.items():
            entry.ask(Question(f"{sheet_forms.AT_FORM}{name}", wrong.message, wrong.choices))
        return
    alike = bowlers.find_alike(session, entry.bowler)[:_MOST_PEOPLE]
    people = [session.get_one(Bowler, row.bowler.id) for row in alike]
    choices = {f"no. {person.id}": _tell_apart(person) for person in people}
    entry.words |= choices
    answer = entry.answers.get("bowler", "")
    kind, number = sheet_doubts.read_chosen(answer)
    found = session.get(Bowler, number) if kind == "no." else None
    if found and f"no. {found.id}" in choices:
        entry.owner = found
    elif alike and answer != NOBODY_KNOWN:
        entry.ask(Question("bowler", "Is this somebody we have already?", (*choices, NOBODY_KNOWN)))


def _tell_apart(person: Bowler) -> str:
    """What tells a bowler from namesakes: number, hand, league, last figures of the phone."""
    rest = [person.league, f"phone …{person.phone_last4}" if person.phone_last4 else ""]
    return ", ".join(filter(None, [f"No. {person.id}: {person.name}", f"{person.hand} hand", *rest]))


def _build(session: Session, entry: Entry, stack: CardStack, card: PaperCard, who: int) -> None:
    """Makes the form of the fit; what it refuses is asked at its line."""
    row = entry.reading.row
    day = row.beside.get("fit_date", "")
    if day > date.today().isoformat():
        entry.ask(Question("fit_date", "That day is yet to come. Which day is it?", (), day))
    if not row.fit:
        entry.told.append("No fit stands on it: only the bowler is kept.")
        return
    hardware = find_hardware(session, row.beside, entry.answers)
    for question in hardware.questions:
        entry.ask(question)
    entry.hardware, entry.noted = ", ".join(hardware.words.values()), _list_noted(entry)
    notes = [sheet_forms.write_notes(row.fit, {n: t for n, t in row.beside.items() if n not in hardware.found}, _ON_IT)]
    notes += [f"From the card: {'; '.join(entry.noted)}"] if entry.noted else []
    texts = {**row.fit, "hand_notes": "\n".join(filter(None, notes)), **hardware.texts, "who": str(who)}
    texts["reason"] = f"card {card.number} of {stack.name}{f', measured {day}' if day else ''}"
    texts |= {name.removeprefix(sheet_forms.AT_FORM): text for name, text in entry.answers.items()
              if name.startswith(sheet_forms.AT_FORM)}  # fmt: skip
    try:
        entry.fit = FitForm.read(texts)
        made = fits.build(session, entry.fit)
    except InvalidError as error:
        for name, wrong in error.fields.items():
            choices = wrong.choices or _OFFERED.get(name, ())
            entry.ask(Question(f"{sheet_forms.AT_FORM}{name}", wrong.message, choices, texts.get(name, "")))
        return
    if entry.owner:
        _compare(session, entry, entry.owner, made)


def _list_noted(entry: Entry) -> list[str]:
    """What a card says that reaches no record: of a ball, and of people where the bowler is known already."""
    row = entry.reading.row
    said = {name: row.beside.get(name, "") for name in _OF_BALL}
    if entry.owner:
        said |= {name: row.bowler.get(name, "") for name in _OF_PERSON}
    return [f"{FIELDS[name].words}: {text}" for name, text in said.items() if text]


def _compare(session: Session, entry: Entry, owner: Bowler, made: Fit) -> None:
    """Settles what becomes of the fit of somebody known: the same is not stored again, a jump is asked."""
    entry.last = sheet_doubts.find_last(session, owner.id, made.hand)
    if entry.last is None:
        return
    jump = sheet_doubts.find_jump(entry.last, made)
    if sheet_doubts.is_same(entry.last, made):
        entry.told.append(f"Fit {entry.last.letter} says the same.")
        entry.fit = None
    elif entry.answers.get("jump") == WITHOUT_FIT:
        entry.fit = None
    elif jump and entry.answers.get("jump") not in jump.choices:
        entry.ask(jump)


def solve(session: Session, entry: Entry) -> SolvedGrip | None:
    """Returns the grip to draw, or None while something is missing."""
    if entry.fit is None:
        return None
    try:
        return fits.solve_typed(session, entry.fit)
    except InvalidError:
        return None


# Stored ---------------------------------------------------------------------------------------------------------------


def save(session: Session, stack: CardStack, card: PaperCard, form: CardForm, photo: CleanPhoto | None = None) -> Entry:
    """Stores a card that asks nothing, with its bowler and fit; one that asks is returned and stored nowhere.

    `photo` is what was made of its picture before the transaction began.
    """
    paper_stacks.require_waiting(card, form.who)
    changes.require_may_edit(session, card)
    entry = read(session, stack, card, form)
    if entry.is_asked or entry.bowler is None:
        return entry
    owner = entry.owner or bowlers.register(session, entry.bowler)
    made = _store_fit(session, entry, owner)
    if made:
        paper_pictures.move_to_fit(session, form.who, card, made, photo)
    card.bowler_id, card.made_bowler, card.fit_id = owner.id, entry.owner is None, made.id if made else None
    card.lines, card.ways, card.answers = form.lines, dict(stack.ways), entry.answers
    session.flush()  # what is changed after this moment was not made by the card
    card.word = ""
    card.typed_by_id, card.typed_at, card.held_until = form.who, now(), None
    card.state, card.version = "typed", card.version + 1
    changes.note(session, form.who, card, changes.Entry("typed", "", write_lines(form.lines)), owner.id)
    return entry


def _store_fit(session: Session, entry: Entry, owner: Bowler) -> Fit | None:
    """Stores the fit as a draft, or in force if nothing of it is in doubt; returns the last one if it says the same."""
    if entry.fit is None:
        return entry.last if entry.told else None
    made = fits.add_draft(session, owner, entry.fit)
    made.is_off_card = True
    _set_day(made, entry.reading.row.beside.get("fit_date", ""))
    is_sure = entry.last is None and not set(entry.answers) - sheet_forms.NOT_OF_A_FIT
    if is_sure and not sheet_forms.lacks_spans(made) and not grips.list_missing(made):
        session.flush()
        form = InForceForm.read({"who": entry.fit.who, "version": made.version})
        made = fits.put_in_force(session, made.id, form)
    return made


def _set_day(made: Fit, day: str) -> None:
    """A card's own day is when its hand was measured, by which measures are known to be old."""
    told = datetime.fromisoformat(day).replace(tzinfo=UTC) if day else None
    if told and told < now():
        made.created_at = told


def read_stored(card: PaperCard) -> PaperReading:
    """Reads a stored card back under the ways and answers that it was stored with."""
    return read_card(card.number, card.lines, card.ways, card.answers)
