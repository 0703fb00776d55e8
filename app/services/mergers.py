"""Two records of one bowler become one. What either holds that contradicts is asked, never chosen for anybody.

The rows of the record that goes (fits, balls, inners; all else hangs on these) are given to the one that stays, and the
merger keeps what each was, so that `partings` restores it exactly. Fits of one hand are numbered on. Rows are moved
by statements that leave their versions alone, because the rows themselves do not change for whoever edits them.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from sqlalchemy import select, update
from sqlalchemy.orm import Session, joinedload

from app.closed_sets import HAND_WORDS
from app.errors import ConflictError, FieldError, InvalidError, NotFoundError
from app.models import Ball, Bowler, Fit, Inner, Merger, Shop
from app.schemas.taken_back import BowlerMergerForm
from app.services import bowler_words, bowlers, changes

BOTH = "both"
UNANSWERED = "This question needs an answer."
_ASKED = {
    "name": "Two names: which one stays? The other still finds the record.",
    "phone": "Two phone numbers: which one stays? The other still finds the record.",
    "hand": "One bowls right-handed, the other left-handed: which is right for this person?",
    "home_shop_id": "Two house shops: which one stays?",
    "league": "Two leagues: which one stays?",
    "is_minor": "One is under age, the other is not: which is right?",
    "guardian": "Two guardians to call: which one stays?",
    "consent": "Two consents: which one holds?",
    "notes": "Two notes: which stay?",
}
LABELS = {"home_shop_id": "house shop", "is_minor": "under age", "hand": "bowls with", "guardian": "guardian to call"}


@dataclass(frozen=True)
class Question:
    """A contradiction between two records: its field, the question, and the answers with their words."""

    field: str
    words: str
    choices: list[tuple[str, str]]


def get_merger(session: Session, merger_id: int) -> Merger:
    """Returns a merger with both bowlers and who merged them; raises NotFoundError."""
    people = (joinedload(Merger.kept), joinedload(Merger.gone), joinedload(Merger.staff))
    found = session.get(Merger, merger_id, options=people, populate_existing=True)
    if found is None:
        raise NotFoundError("There is no such merger.")
    return found


def list_open(session: Session, bowler_id: int) -> Sequence[Merger]:
    """Returns the mergers into this record that were not parted, the newest first."""
    query = select(Merger).where(Merger.kept_id == bowler_id, Merger.parted_at.is_(None))
    people = (joinedload(Merger.gone), joinedload(Merger.staff))
    return session.scalars(query.options(*people).order_by(Merger.id.desc())).all()


def list_ids(session: Session, bowler_id: int) -> list[int]:
    """Returns the ids of a record and of all that are merged into it, also by way of others."""
    ids = [bowler_id]
    for own in ids:  # grows while it is read
        ids += session.scalars(select(Bowler.id).where(Bowler.merged_into_id == own).order_by(Bowler.id))
    return ids


def write_particulars(of: Bowler) -> dict[str, str]:
    """Returns a bowler's particulars as their form writes them."""
    told = {name: getattr(of, name) for name in _ASKED}
    told |= {"home_shop_id": of.home_shop_id or "", "is_minor": "true" if of.is_minor else ""}
    return {name: str(value) for name, value in told.items()}


def set_particulars(session: Session, who: int, of: Bowler, told: dict[str, str], why: str) -> None:
    """Sets a bowler's particulars as `write_particulars` wrote them, each that differs with a line of history."""
    values: dict[str, str | int | bool | None] = {name: told[name] for name in _ASKED}
    values |= {"home_shop_id": int(told["home_shop_id"] or 0) or None, "is_minor": bool(told["is_minor"])}
    changes.revise(session, who, of, values, why)
    digits = "".join(filter(str.isdigit, of.phone))
    of.phone_digits, of.phone_last4 = digits, digits[-4:]


# Questions ------------------------------------------------------------------------------------------------------------


def list_questions(session: Session, one: Bowler, other: Bowler) -> list[Question]:
    """Returns what the two records contradict each other in."""
    shops = {str(shop.id): shop.name for shop in session.scalars(select(Shop))}
    told = [(str(of.id), write_particulars(of)) for of in (one, other)]
    asked = []
    for name, words in _ASKED.items():
        values = [values[name] for _, values in told]
        if values[0] == values[1] or (name != "is_minor" and not all(values)):
            continue
        choices = [(own, _describe(name, values[name], shops)) for own, values in told]
        both = [(BOTH, "both, one after the other")] if name == "notes" else []
        asked.append(Question(f"which_{name}", words, choices + both))
    return asked + _ask_of_fits(session, one, other)


def _describe(name: str, value: str, shops: dict[str, str]) -> str:
    if name == "is_minor":
        return "under age" if value else "not under age"
    if name == "hand":
        return {str(hand): words for hand, words in HAND_WORDS.items()}[value]
    return shops.get(value, "?") if name == "home_shop_id" else value


def _ask_of_fits(session: Session, one: Bowler, other: Bowler) -> list[Question]:
    fits = select(Fit).where(Fit.bowler_id.in_([one.id, other.id]), Fit.state == "in force").order_by(Fit.id)
    in_force = session.scalars(fits).all()
    asked = []
    for hand, words in HAND_WORDS.items():
        own = {f.bowler_id: f for f in in_force if f.hand == hand}
        if len(own) == 2:
            choices = [(str(b.id), f"fit {own[b.id].letter} of {b.name}: {own[b.id].reason}") for b in (one, other)]
            asked.append(
                Question(f"which_fit_{hand}", f"Two fits in force for the {words}: which one stays in force?", choices)
            )
    return asked


def _require_answers(questions: list[Question], form: BowlerMergerForm) -> None:
    """Raises InvalidError with the question at each field that was not answered."""
    choices = {question.field: {value for value, _ in question.choices} for question in questions}
    fields = {q.field: FieldError(UNANSWERED) for q in questions if form.answers.get(q.field) not in choices[q.field]}
    if not form.stays:
        fields["stays"] = FieldError(UNANSWERED)
    if fields:
        raise InvalidError("The two records contradict each other: each question needs an answer.", fields)


# Merging --------------------------------------------------------------------------------------------------------------


def find_pair(session: Session, bowler_id: int, other_id: int) -> tuple[Bowler, Bowler]:
    """Returns two records that can become one; raises InvalidError at the field, or ConflictError."""
    one, other = bowlers.get_bowler(session, bowler_id), bowlers.get_bowler(session, other_id)
    if one.id == other.id:
        raise InvalidError.at("other_id", "These are one record already. Choose another one.")
    for of in (one, other):
        if of.erased_at:
            raise InvalidError.at("other_id", "That person was erased from the records: there is nothing to merge.")
        if of.removed_at:
            raise InvalidError.at("other_id", f"The record of {of.name} was removed. Put it back first.")
    return one, other


def merge(session: Session, bowler_id: int, form: BowlerMergerForm) -> Merger:
    """Makes two records one; raises InvalidError with a question at each field in which they contradict each other."""
    one, other = find_pair(session, bowler_id, form.other_id)
    if (one.id, other.id) != (bowler_id, form.other_id):
        raise ConflictError("One of these records is part of another by now. Look at both again.")
    changes.require_version(session, one, form.version)
    changes.require_version(session, other, form.other_version)
    _require_answers(list_questions(session, one, other), form)
    kept, gone = (one, other) if form.stays == one.id else (other, one)
    before = write_particulars(kept)
    merger = Merger(kept_id=kept.id, gone_id=gone.id, why=form.why, staff_id=form.who, kept_before=before)
    merger.rows = _list_ids_of_rows(session, kept.id, "kept") | _list_ids_of_rows(session, gone.id, "gone")
    changes.add_record(session, form.who, merger, f"bowler no. {gone.id} is part of no. {kept.id}", form.why, kept.id)
    _join_fits(session, merger, form)
    for model in (Ball, Inner):
        session.execute(update(model).where(model.bowler_id == gone.id).values(bowler_id=kept.id))
    merger.kept_after = _answer(kept, gone, form)
    set_particulars(session, form.who, kept, merger.kept_after, form.why)
    part_of = changes.Entry("part of", "a record of its own", f"bowler no. {kept.id}", form.why)
    changes.note(session, form.who, gone, part_of)
    session.flush()
    session.execute(update(Bowler).where(Bowler.id == gone.id).values(merged_into_id=kept.id))
    session.expire_all()
    bowler_words.index_bowler(session, bowlers.get_bowler(session, kept.id))
    return merger


def list_rows(session: Session, bowler_id: int) -> dict[str, Sequence[Fit | Ball | Inner]]:
    """Returns the rows that have a bowler themselves, by kind; all others hang on these."""
    return {
        "fit": session.scalars(select(Fit).where(Fit.bowler_id == bowler_id).order_by(Fit.id)).all(),
        "ball": session.scalars(select(Ball).where(Ball.bowler_id == bowler_id).order_by(Ball.id)).all(),
        "inner": session.scalars(select(Inner).where(Inner.bowler_id == bowler_id).order_by(Inner.id)).all(),
    }


def count_rows(session: Session, bowler_ids: Sequence[int]) -> dict[int, str]:
    """Returns in words how much each record has."""
    told = {}
    for bowler_id in bowler_ids:
        counts = {noun: len(rows) for noun, rows in list_rows(session, bowler_id).items()}
        told[bowler_id] = ", ".join(f"{count} {noun}{'' if count == 1 else 's'}" for noun, count in counts.items())
    return told


def _list_ids_of_rows(session: Session, bowler_id: int, side: str) -> dict[str, list[int]]:
    return {f"{side} {noun}": [row.id for row in rows] for noun, rows in list_rows(session, bowler_id).items()}


def _join_fits(session: Session, merger: Merger, form: BowlerMergerForm) -> None:
    """Numbers the fits of the record that goes after those of the one that stays; one of a hand stays in force."""
    own = select(Fit).where(Fit.bowler_id.in_([merger.kept_id, merger.gone_id])).order_by(Fit.id)
    fits = session.scalars(own).all()
    merger.fits = {str(f.id): f"{f.revision} {f.state}" for f in fits}
    last: dict[str, int] = {}
    for fit in fits:
        if fit.bowler_id == merger.kept_id:
            last[fit.hand] = max(last.get(fit.hand, 0), fit.revision)
    for fit in fits:
        answer = form.answers.get(f"which_fit_{fit.hand}", str(fit.bowler_id))
        is_gone = fit.bowler_id == merger.gone_id
        is_other = fit.state == "in force" and answer != str(fit.bowler_id)
        revision = fit.revision + (last.get(fit.hand, 0) if is_gone else 0)
        move_fit(session, form.who, fit, merger.kept_id, revision, "superseded" if is_other else fit.state)


def move_fit(session: Session, who: int, fit: Fit, bowler_id: int, revision: int, state: str) -> None:
    """Gives a fit to a bowler, with lines of history for a number or state that changes; its version stays."""
    for name, old, new in (("revision", fit.revision, revision), ("state", fit.state, state)):
        if old != new:
            changes.note(session, who, fit, changes.Entry(name, old, new, "two records of one bowler"), bowler_id)
    values = {"bowler_id": bowler_id, "revision": revision, "state": state}
    session.execute(
        update(Fit).where(Fit.id == fit.id).values(values), execution_options={"synchronize_session": False}
    )


def _answer(kept: Bowler, gone: Bowler, form: BowlerMergerForm) -> dict[str, str]:
    """Returns the particulars that the merged record has: as answered, else what one of the two says."""
    own, other = write_particulars(kept), write_particulars(gone)
    said = {}
    for name in _ASKED:
        answer = form.answers.get(f"which_{name}", "") if own[name] != other[name] else ""
        if answer == BOTH:
            said[name] = f"{own[name]}\n{other[name]}"
        elif name == "is_minor" or (own[name] and other[name]):
            said[name] = other[name] if answer == str(gone.id) else own[name]
        else:
            said[name] = own[name] or other[name]
    return said
