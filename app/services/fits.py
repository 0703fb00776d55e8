"""Fit specifications: draft, in force, superseded. A fit in force never changes."""

from collections.abc import Sequence
from fractions import Fraction
from typing import Any

from sqlalchemy import bindparam, func, select
from sqlalchemy.orm import Session, joinedload, selectinload

from app.calculation.grip import SolvedGrip
from app.closed_sets import DIGITS
from app.db import load_one
from app.errors import ConflictError, FieldError, InvalidError, NotFoundError
from app.measures.ovals import Oval
from app.measures.pairs import SpanPair
from app.measures.pitches import Pitch
from app.measures.wording import (
    decimal,
    exact,
)
from app.models import Bowler, Fit, FitHole, InsertSystem, now
from app.schemas.fits import FitForm, FitSpecification, InForceForm, RevisionForm
from app.schemas.forms import typed_texts
from app.services import bowlers, changes, differences, grips


def get_fit(session: Session, fit_id: int) -> Fit:
    """Returns a fit with its holes, bowler, author and hardware; raises NotFoundError."""
    found = load_one(
        session,
        Fit,
        fit_id,
        selectinload(Fit.holes),
        joinedload(Fit.bowler).joinedload(Bowler.home_shop),
        joinedload(Fit.author),
        joinedload(Fit.system),
    )
    if found is None:
        raise NotFoundError("There is no such fit.")
    return found


_OF_BOWLER = (
    select(Fit)
    .where(Fit.bowler_id == bindparam("bowler_id"))
    .options(selectinload(Fit.holes), joinedload(Fit.author), joinedload(Fit.system))
    .order_by(Fit.hand.desc(), Fit.revision.desc())
)


def list_of_bowler(session: Session, bowler_id: int) -> Sequence[Fit]:
    """Returns all revisions of a bowler's fits, newest first, with their holes."""
    return session.scalars(_OF_BOWLER, {"bowler_id": bowler_id}).all()


def add_draft(session: Session, bowler: Bowler, form: FitForm) -> Fit:
    """Adds a draft of a bowler's fit, numbered after the last one of that hand; raises InvalidError."""
    bowlers.require_in_use(bowler)
    made = Fit(
        bowler_id=bowler.id,
        hand=form.hand,
        revision=_find_next_revision(session, bowler.id, form.hand),
        state="draft",
        author_id=form.who,
        holes=[FitHole(digit=d) for d in DIGITS],
    )
    _fill(made, form)
    _check(session, made)
    changes.add_record(session, form.who, made, f"fit {made.letter}, {made.hand} hand, draft", form.reason)
    return made


def edit(session: Session, fit_id: int, form: FitForm) -> Fit:
    """Changes a draft; raises ConflictError for another state or version, InvalidError for impossible numbers."""
    edited = get_fit(session, fit_id)
    if edited.state != "draft":
        raise ConflictError(f"Fit {edited.letter} is {edited.state}: it is never edited. Revise it instead.")
    changes.require_version(session, edited, form.version)
    values, holes = _read_values(form)
    _ask_of_other_sleeve(session, edited, form)
    changes.revise(session, form.who, edited, values)
    for digit, numbers in holes.items():
        for name, new in numbers.items():
            hole = edited.hole(digit)
            old = getattr(hole, name)
            if old != new:
                changes.note(session, form.who, edited, changes.Entry(f"{digit}_{name}", old, new))
                setattr(hole, name, new)
    _check(session, edited)
    return edited


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
    now_solved = grips.solve(edited, edited.system)
    finished = [decimal(own.finished_in) for own in (now_solved.middle_spans, now_solved.ring_spans)]
    typed = [exact(span) for span in (edited.span_middle_in, edited.span_ring_in) if span is not None]
    by = f"These are by the sleeve of {differences.format_label(edited)}."
    raise InvalidError.at(
        "spans",
        f"{by} Keep the finished spans, or is this measured by the new sleeve?",
        f"middle {finished[0]}, ring {finished[1]} finished",
        f"middle {typed[0]}, ring {typed[1]} sleeve to cut",
    )


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
    if old.state == "discarded":
        raise ConflictError(f"Fit {old.letter} was discarded. Take it back first, or revise another.")
    open_draft = session.scalar(
        select(Fit).where(Fit.bowler_id == old.bowler_id, Fit.hand == old.hand, Fit.state == "draft")
    )
    if open_draft:
        raise ConflictError(f"Fit {open_draft.letter} of this hand is still a draft. Finish that one first.")
    copied = {
        name: getattr(old, name)
        for name in (
            "bowler_id", "hand", "style", "span_middle_in", "span_ring_in", "span_edges", "bridge_in",
            "bridge_edges", "system_id", "hand_notes",
        )
    }  # fmt: skip
    made = Fit(
        **copied,
        revision=_find_next_revision(session, old.bowler_id, old.hand),
        state="draft",
        reason=form.reason,
        author_id=form.who,
        revised_from_id=old.id,
        typed=dict(old.typed),
        holes=[FitHole(digit=h.digit, **{name: getattr(h, name) for name in _HOLE_NUMBERS}) for h in old.holes],
    )
    changes.add_record(session, form.who, made, f"fit {made.letter}, revised from {old.letter}", form.reason)
    return made


_HOLE_NUMBERS = ("hole_in", "cut_in", "oval_in", "oval_deg", "forward_in", "right_in", "depth_in")


def _find_next_revision(session: Session, bowler_id: int, hand: str) -> int:
    last = session.scalar(select(func.max(Fit.revision)).where(Fit.bowler_id == bowler_id, Fit.hand == hand))
    return (last or 0) + 1


def _fill(made: Fit, form: FitSpecification) -> None:
    values, holes = _read_values(form)
    for name, value in values.items():
        setattr(made, name, value)
    for digit, numbers in holes.items():
        for name, value in numbers.items():
            setattr(made.hole(digit), name, value)


def _read_values(form: FitSpecification) -> tuple[dict[str, Any], dict[str, dict[str, Fraction | None]]]:
    """Returns (values of the fit, values of each hole) from a form."""
    spans: SpanPair | None = form.spans.value
    if spans and spans.edges and form.span_edges not in {"unknown", spans.edges}:
        raise InvalidError.at("span_edges", f"The spans say “{spans.edges}” and this field says otherwise.")
    oval: Oval | None = form.thumb_hole.value
    values = {
        "style": form.style,
        "reason": form.reason,
        "span_middle_in": spans.middle_in if spans else None,
        "span_ring_in": spans.ring_in if spans else None,
        "span_edges": spans.edges if spans and spans.edges else form.span_edges,
        "bridge_in": form.bridge.value,
        "bridge_edges": form.bridge_edges,
        "system_id": form.system_id,
        "hand_notes": form.hand_notes,
        "typed": typed_texts(form),
    }
    thumb = {
        "hole_in": oval.hole_in if oval else None,
        "oval_in": oval.oval_in if oval else None,
        "oval_deg": oval.oval_deg if oval else None,
    }
    holes = {"thumb": thumb | _read_pitch_values(form.thumb_pitch.value)}
    for digit in grips.FINGERS:
        holes[digit] = {
            "hole_in": getattr(form, f"{digit}_hole").value,
            "cut_in": getattr(form, f"{digit}_cut").value,
            "depth_in": getattr(form, f"{digit}_depth").value,
        } | _read_pitch_values(getattr(form, f"{digit}_pitch").value)
    return values, holes


def _read_pitch_values(pitch: Pitch | None) -> dict[str, Fraction | None]:
    return {"forward_in": pitch.forward_in if pitch else None, "right_in": pitch.right_in if pitch else None}


def _check(session: Session, checked: Fit) -> None:
    """Raises InvalidError, at the field to change, for numbers that contradict each other or make no grip."""
    if checked.system_id and session.get(InsertSystem, checked.system_id) is None:
        raise InvalidError.at("system_id", "That hardware is not known. Choose one, or none.")
    for digit in grips.FINGERS:
        hole = checked.hole(digit)
        if hole.hole_in and hole.cut_in and hole.hole_in > hole.cut_in:
            raise InvalidError.at(f"{digit}_hole", "The inside of the insert is larger than the bore it stands in.")
    if grips.can_solve(checked):
        solved = grips.solve(checked, session.get(InsertSystem, checked.system_id) if checked.system_id else None)
        if solved.bridge_cut_in < 0:
            raise InvalidError.at("bridge", "With this bridge the two finger holes run into each other at the surface.")


def solve_typed(session: Session, form: FitSpecification) -> SolvedGrip | None:
    """Solves a typed fit without storing it; None while something is missing, InvalidError if it makes no grip."""
    sketched = Fit(hand=form.hand, holes=[FitHole(digit=d) for d in DIGITS])
    _fill(sketched, form)
    if not grips.can_solve(sketched):
        return None
    return grips.solve(sketched, session.get(InsertSystem, form.system_id) if form.system_id else None)
