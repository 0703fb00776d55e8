"""Fit specifications: draft, in force, superseded. A fit in force never changes."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from fractions import Fraction

from sqlalchemy import bindparam, func, select
from sqlalchemy.orm import Session, joinedload, selectinload

from app.calculation.grip import FingerName, SolvedGrip
from app.closed_sets import DIGITS
from app.db import load_one
from app.errors import ConflictError, FieldError, InvalidError, NotFoundError
from app.measures.pairs import SpanPair
from app.measures.wording import (
    decimal,
    exact,
)
from app.models import Bowler, Fit, FitHole, InsertSystem, now
from app.schemas.fits import FitForm, FitSpecification, InForceForm, RevisionForm
from app.services import bowlers, changes, differences, fit_values, grips, paper_checks

_HOLES = selectinload(Fit.holes)
_WHOLE = (
    _HOLES,
    joinedload(Fit.bowler).joinedload(Bowler.home_shop),
    joinedload(Fit.author),
    joinedload(Fit.system),
)


def get_fit(session: Session, fit_id: int) -> Fit:
    """Returns a fit with its holes, bowler, author and hardware; raises NotFoundError."""
    found = load_one(session, Fit, fit_id, *_WHOLE)
    if found is None:
        raise NotFoundError("There is no such fit.")
    return found


def find_fit(session: Session, fit_id: int | None) -> Fit | None:
    """Returns a fit with its holes, or None where there is none of this id."""
    return load_one(session, Fit, fit_id, _HOLES) if fit_id else None


_OF_THIS_HAND = (Fit.bowler_id == bindparam("bowler_id"), Fit.hand == bindparam("hand"))
_DRAFT = select(Fit).where(*_OF_THIS_HAND, Fit.state == "draft").order_by(Fit.revision).limit(1)
_LAST_REVISION = select(func.max(Fit.revision)).where(*_OF_THIS_HAND)


def find_draft(session: Session, bowler_id: int, hand: str) -> Fit | None:
    """Returns the draft of this hand, of which there is at most one."""
    return session.scalars(_DRAFT, {"bowler_id": bowler_id, "hand": hand}).one_or_none()


def _require_no_draft(session: Session, bowler_id: int, hand: str) -> None:
    draft = find_draft(session, bowler_id, hand)
    if draft:
        raise ConflictError(f"Fit {draft.letter} of this hand is still a draft. Finish that one first.")


_OF_BOWLER = (
    select(Fit)
    .where(Fit.bowler_id == bindparam("bowler_id"))
    .options(selectinload(Fit.holes), joinedload(Fit.author), joinedload(Fit.system))
    .order_by(Fit.hand.desc(), Fit.revision.desc())
)


def list_of_bowler(session: Session, bowler_id: int) -> Sequence[Fit]:
    """Returns all revisions of a bowler's fits, newest first, with their holes."""
    return session.scalars(_OF_BOWLER, {"bowler_id": bowler_id}).all()


_OF_THE_HAND = ("grip_holes", "span_middle_in", "span_ring_in", "span_edges", "bridge_in", "bridge_edges")


def find_measured_at(of: Fit, revisions: Iterable[Fit]) -> datetime:
    """When spans and bridge of a fit were written first: a revision that takes them over measured no hand."""
    by_id, first = {fit.id: fit for fit in revisions}, of
    while (old := by_id.get(first.revised_from_id or 0)) and old.id != first.id:
        if any(getattr(old, name) != getattr(of, name) for name in _OF_THE_HAND):
            break
        del by_id[old.id]  # no round is walked twice
        first = old
    return first.created_at


def add_draft(session: Session, bowler: Bowler, form: FitForm) -> Fit:
    """Adds a draft, numbered after the last fit of that hand; it revises the one in force. Raises InvalidError.

    Raises ConflictError if that hand has a draft.
    """
    _require_no_draft(session, bowler.id, form.hand)
    in_force = select(Fit).where(Fit.bowler_id == bowler.id, Fit.hand == form.hand, Fit.state == "in force")
    bowlers.require_in_use(bowler)
    made = build(session, form)
    before = session.scalar(in_force)
    made.bowler_id, made.revised_from_id = bowler.id, before.id if before else None
    made.is_off_card = before is not None and before.is_off_card
    made.revision = find_next_revision(session, bowler.id, form.hand)
    changes.add_record(session, form.who, made, f"fit {made.letter}, {made.hand} hand, draft", form.reason)
    return made


def build(session: Session, form: FitForm) -> Fit:
    """Returns the first draft of a hand as typed, of nobody yet and not stored; raises InvalidError."""
    holes = [FitHole(digit=d) for d in DIGITS]
    made = Fit(hand=form.hand, revision=1, state="draft", author_id=form.who, holes=holes)
    fit_values.fill(session, made, form)
    _check(session, made)
    return made


def edit(session: Session, fit_id: int, form: FitForm) -> Fit:
    """Changes a draft; raises ConflictError for another state or version, InvalidError for impossible numbers."""
    edited = get_fit(session, fit_id)
    bowlers.require_in_use(edited.bowler)
    if edited.state != "draft":
        raise ConflictError(f"Fit {edited.letter} is {edited.state}: it is never edited. Revise it instead.")
    changes.require_version(session, edited, form.version)
    values, holes = fit_values.read_values(session, form)
    _ask_of_other_sleeve(session, edited, form)
    changes.revise(session, form.who, edited, values)
    for digit, numbers in holes.items():
        for name, new in numbers.items():
            hole = edited.hole(digit)
            old = getattr(hole, name)
            if old != new:
                entry = changes.Entry(f"{digit}_{name}", old, new)
                if name == "system_id":
                    entry = changes.Entry(f"{digit}_insert", *(_name_insert(session, value) for value in (old, new)))
                changes.note(session, form.who, edited, entry)
                setattr(hole, name, new)
    _check(session, edited)
    paper_checks.wait_again(session, form.who, edited)
    return edited


def _name_insert(session: Session, system_id: Fraction | int | None) -> str:
    found = session.get(InsertSystem, system_id) if system_id else None
    return found.label if found else "none"


def _ask_of_other_sleeve(session: Session, edited: Fit, form: FitForm) -> None:
    """Raises InvalidError with choices if a draft typed by one sleeve moves to another, which changes its feel."""
    spans: SpanPair | None = form.spans.value
    is_untouched = spans is not None and form.spans.text == edited.typed.get("spans")
    if (
        not is_untouched
        or edited.span_edges != "sleeve"
        or form.system_id == edited.system_id
        or not grips.can_solve(edited)
    ):
        return
    asked = session.get(InsertSystem, form.system_id) if form.system_id else None
    if grips.get_sleeve_od_in(asked) == grips.get_sleeve_od_in(edited.system):
        return
    finished = {name: decimal(own.finished_in) for name, own in grips.solve(edited, edited.system).spans.items()}
    typed = {name: exact(edited.span_in(name) or Fraction(0)) for name in finished}
    by = f"These are by the sleeve of {differences.format_label(edited)}."
    raise InvalidError.at(
        "spans",
        f"{by} Keep the finished spans, or is this measured by the new sleeve?",
        f"{_write_spans(finished)} finished",
        f"{_write_spans(typed)} sleeve to cut",
    )


def _write_spans(told: Mapping[FingerName, str]) -> str:
    return ", ".join(f"{name} {told[name]}" for name in told)


def put_in_force(session: Session, fit_id: int, form: InForceForm) -> Fit:
    """Freezes a draft as the fit in force, which supersedes the one before; raises InvalidError if incomplete."""
    chosen = get_fit(session, fit_id)
    changes.require_version(session, chosen, form.version)
    if chosen.state != "draft":
        raise ConflictError(f"Fit {chosen.letter} is {chosen.state} already.")
    gaps = grips.list_missing(chosen)
    if gaps:
        raise InvalidError(
            f"Not yet complete: {', '.join(gaps)}.", {"": FieldError(f"Still missing: {', '.join(gaps)}.")}
        )
    _check(session, chosen)
    before = session.scalar(
        select(Fit).where(Fit.bowler_id == chosen.bowler_id, Fit.hand == chosen.hand, Fit.state == "in force")
    )
    if before:
        changes.revise(session, form.who, before, {"state": "superseded"}, f"fit {chosen.letter} came in force")
    changes.revise(session, form.who, chosen, {"state": "in force", "in_force_at": now()}, chosen.reason)
    return chosen


def revise(session: Session, fit_id: int, form: RevisionForm) -> Fit:
    """Copies a fit into a new draft with the next letter; raises ConflictError if that hand has a draft."""
    old = get_fit(session, fit_id)
    bowlers.require_in_use(old.bowler)
    if old.state == "discarded":
        raise ConflictError(f"Fit {old.letter} was discarded. Take it back first, or revise another.")
    _require_no_draft(session, old.bowler_id, old.hand)
    copied = {
        name: getattr(old, name)
        for name in (
            "bowler_id", "hand", "style", "grip_holes", "span_middle_in", "span_ring_in", "span_edges", "bridge_in",
            "bridge_edges", "system_id", "hand_notes", "clinician_notes", "is_off_card",
        )
    }  # fmt: skip
    made = Fit(
        **copied,
        revision=find_next_revision(session, old.bowler_id, old.hand),
        state="draft",
        reason=form.reason,
        author_id=form.who,
        revised_from_id=old.id,
        typed=dict(old.typed),
        holes=[FitHole(digit=h.digit, **{name: getattr(h, name) for name in _HOLE_NUMBERS}) for h in old.holes],
    )
    changes.add_record(session, form.who, made, f"fit {made.letter}, revised from {old.letter}", form.reason)
    return made


_HOLE_NUMBERS = (
    "hole_in",
    "cut_in",
    "oval_in",
    "oval_deg",
    "forward_in",
    "right_in",
    "depth_in",
    "offset_in",
    "system_id",
    "lift_in",
    "lift_deg",
)


def find_next_revision(session: Session, bowler_id: int, hand: str) -> int:
    """Returns the number after the last fit of a hand, discarded ones included."""
    return (session.scalar(_LAST_REVISION, {"bowler_id": bowler_id, "hand": hand}) or 0) + 1


def _check(session: Session, checked: Fit) -> None:
    """Raises InvalidError, at the field to change, for numbers that contradict each other or make no grip."""
    if checked.system_id and session.get(InsertSystem, checked.system_id) is None:
        raise InvalidError.at("system_id", "That hardware is not known. Choose one, or none.")
    for digit in grips.FINGERS:
        hole = checked.hole(digit)
        if hole.hole_in and hole.cut_in and grips.build_finger(hole).inside_reach_in > hole.cut_in / 2:
            if not hole.lift_in:
                raise InvalidError.at(f"{digit}_hole", "The inside of the insert is larger than the bore it stands in.")
            raise InvalidError.at(f"{digit}_lift", "With this lift the inside of the insert breaks out of the bore.")
    if grips.can_solve(checked):
        solved = grips.solve(checked, session.get(InsertSystem, checked.system_id) if checked.system_id else None)
        if (solved.bridge_cut_in or 0) < 0:
            raise InvalidError.at("bridge", "With this bridge the two finger holes run into each other at the surface.")


def solve_typed(session: Session, form: FitSpecification) -> SolvedGrip | None:
    """Solves a typed fit without storing it; None while something is missing, InvalidError if it makes no grip."""
    sketched = Fit(hand=form.hand, grip_holes=form.grip_holes, holes=[FitHole(digit=d) for d in DIGITS])
    fit_values.fill(session, sketched, form)
    if not grips.can_solve(sketched):
        return None
    return grips.solve(sketched, session.get(InsertSystem, form.system_id) if form.system_id else None)
