"""Fit specifications: draft, in force, superseded; frozen once in force; compared in the trade's terms."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any

from sqlalchemy import bindparam, func, select
from sqlalchemy.orm import Session, joinedload, selectinload

from app.calculation.errors import CannotBuildError
from app.calculation.grip import Finger, Grip, SolvedGrip, Thumb
from app.db import one
from app.errors import ConflictError, FieldError, InvalidError, NotFoundError
from app.measures.lengths import is_unknown
from app.measures.ovals import Oval
from app.measures.pairs import SpanPair
from app.measures.pitches import Pitch
from app.measures.wording import (
    clock_words,
    decimal,
    exact,
    in_64ths,
    inches,
    lateral_words,
    pitch_change,
    vertical_words,
)
from app.models import DIGITS, Bowler, Fit, FitHole, InsertSystem, now
from app.schemas.fits import FitForm, InForceForm, RevisionForm
from app.schemas.forms import typed_texts
from app.services import changes
from app.services.work_outs import ASSUMED_FINGER_DEPTH_IN, ASSUMED_THUMB_DEPTH_IN, solve_once

FINGERS = ("middle", "ring")
USUAL_CIRCUMFERENCE_IN = 27.0  # common practice, no source

_FORM_FIELD = {
    "middle.span_in": "spans",
    "ring.span_in": "spans",
    "bridge_in": "bridge",
    "sleeve_od_in": "system_id",
    "thumb.hole_in": "thumb_hole",
    "middle.cut_in": "middle_cut",
    "ring.cut_in": "ring_cut",
    "middle.hole_in": "middle_hole",
    "ring.hole_in": "ring_hole",
}


def fit(session: Session, fit_id: int) -> Fit:
    """A fit with its holes, bowler, author and hardware."""
    found = one(
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


def of_bowler(session: Session, bowler_id: int) -> Sequence[Fit]:
    """All revisions of a bowler's fits, newest first, with their holes."""
    return session.scalars(_OF_BOWLER, {"bowler_id": bowler_id}).all()


def draft(session: Session, bowler: Bowler, form: FitForm) -> Fit:
    """Starts a bowler's fit for one hand with a draft, numbered after the last of that hand."""
    made = Fit(
        bowler_id=bowler.id,
        hand=form.hand,
        revision=_next_revision(session, bowler.id, form.hand),
        state="draft",
        author_id=form.who,
        holes=[FitHole(digit=d) for d in DIGITS],
    )
    _fill(made, form)
    _check(session, made)
    changes.made(session, form.who, made, f"fit {made.letter}, {made.hand} hand, draft", form.reason)
    return made


def edit(session: Session, fit_id: int, form: FitForm) -> Fit:
    """Changes a draft."""
    edited = fit(session, fit_id)
    if edited.state != "draft":
        raise ConflictError(f"Fit {edited.letter} is {edited.state}: it is never edited. Revise it instead.")
    changes.require_version(session, edited, form.version)
    values, holes = _values(form)
    _ask_of_other_sleeve(session, edited, form)
    changes.revise(session, form.who, edited, values)
    for digit, numbers in holes.items():
        for name, new in numbers.items():
            hole = edited.hole(digit)
            old = getattr(hole, name)
            if old != new:
                changes.note(session, form.who, edited, f"{digit}_{name}", old, new)
                setattr(hole, name, new)
    _check(session, edited)
    return edited


def _ask_of_other_sleeve(session: Session, edited: Fit, form: FitForm) -> None:
    """Asks what spans typed by one sleeve mean on hardware with another: left alone, the finished spans would move."""
    spans: SpanPair | None = form.spans.value
    is_untouched = spans is not None and form.spans.text == edited.typed.get("spans")
    if not is_untouched or edited.span_edges != "sleeve" or form.system_id == edited.system_id or not can_solve(edited):
        return
    asked = session.get(InsertSystem, form.system_id) if form.system_id else None
    if sleeve_od_in(asked) == sleeve_od_in(edited.system):
        return
    now_solved = solve(edited, edited.system)
    finished = [decimal(own.finished_in) for own in (now_solved.middle_spans, now_solved.ring_spans)]
    typed = [exact(span) for span in (edited.span_middle_in, edited.span_ring_in) if span is not None]
    raise InvalidError.at(
        "spans",
        f"These are by the sleeve of {_label(edited)}. Keep the finished spans, or is this measured by the new sleeve?",
        f"middle {finished[0]}, ring {finished[1]} finished",
        f"middle {typed[0]}, ring {typed[1]} sleeve to cut",
    )


def put_in_force(session: Session, fit_id: int, form: InForceForm) -> Fit:
    """Freezes a draft as the fit in force; the one before it is superseded and kept."""
    chosen = fit(session, fit_id)
    changes.require_version(session, chosen, form.version)
    if chosen.state != "draft":
        raise ConflictError(f"Fit {chosen.letter} is {chosen.state} already.")
    gaps = missing(chosen)
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
    """Copies a fit into a new draft with the next letter; the old one stays as it is."""
    old = fit(session, fit_id)
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
        revision=_next_revision(session, old.bowler_id, old.hand),
        state="draft",
        reason=form.reason,
        author_id=form.who,
        revised_from_id=old.id,
        typed=dict(old.typed),
        holes=[FitHole(digit=h.digit, **{name: getattr(h, name) for name in _HOLE_NUMBERS}) for h in old.holes],
    )
    changes.made(session, form.who, made, f"fit {made.letter}, revised from {old.letter}", form.reason)
    return made


_HOLE_NUMBERS = ("hole_in", "cut_in", "oval_in", "oval_deg", "forward_in", "right_in", "depth_in")


def _next_revision(session: Session, bowler_id: int, hand: str) -> int:
    last = session.scalar(select(func.max(Fit.revision)).where(Fit.bowler_id == bowler_id, Fit.hand == hand))
    return (last or 0) + 1


def _fill(made: Fit, form: FitForm) -> None:
    values, holes = _values(form)
    for name, value in values.items():
        setattr(made, name, value)
    for digit, numbers in holes.items():
        for name, value in numbers.items():
            setattr(made.hole(digit), name, value)


def _values(form: FitForm) -> tuple[dict[str, Any], dict[str, dict[str, Fraction | None]]]:
    """(values of the fit, values of each hole) as the form has them."""
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
    holes = {"thumb": thumb | _pitch_values(form.thumb_pitch.value)}
    for digit in FINGERS:
        holes[digit] = {
            "hole_in": getattr(form, f"{digit}_hole").value,
            "cut_in": getattr(form, f"{digit}_cut").value,
            "depth_in": getattr(form, f"{digit}_depth").value,
        } | _pitch_values(getattr(form, f"{digit}_pitch").value)
    return values, holes


def _pitch_values(pitch: Pitch | None) -> dict[str, Fraction | None]:
    return {"forward_in": pitch.forward_in if pitch else None, "right_in": pitch.right_in if pitch else None}


def _check(session: Session, checked: Fit) -> None:
    """Refuses numbers that contradict each other or cannot close, at the field to change."""
    if checked.system_id and session.get(InsertSystem, checked.system_id) is None:
        raise InvalidError.at("system_id", "That hardware is not known. Choose one, or none.")
    for digit in FINGERS:
        hole = checked.hole(digit)
        if hole.hole_in and hole.cut_in and hole.hole_in > hole.cut_in:
            raise InvalidError.at(f"{digit}_hole", "The inside of the insert is larger than the bore it stands in.")
    if can_solve(checked):
        solved = solve(checked, session.get(InsertSystem, checked.system_id) if checked.system_id else None)
        if solved.bridge_cut_in < 0:
            raise InvalidError.at("bridge", "With this bridge the two finger holes run into each other at the surface.")


def _wanted(of: Fit) -> list[tuple[str, str, Fraction | None]]:
    """(words, form field, value) of everything a grip is worked out from."""
    thumb = of.hole("thumb")
    wanted = [
        ("spans", "spans", of.span_middle_in),
        ("bridge", "bridge", of.bridge_in),
        ("thumb hole", "thumb_hole", thumb.hole_in),
        ("thumb pitch", "thumb_pitch", thumb.forward_in),
    ]
    for digit in FINGERS:
        hole = of.hole(digit)
        wanted.append((f"{digit} hole", f"{digit}_hole", hole.hole_in))
        wanted.append((f"{digit} pitch", f"{digit}_pitch", hole.forward_in))
    return wanted


def missing(checked: Fit) -> list[str]:
    """What nobody has said yet, in words; saying that it is unknown is enough for a fit to be in force."""
    typed = checked.typed
    return [w for w, field, value in _wanted(checked) if value is None and not is_unknown(typed.get(field, ""))]


def unknown(checked: Fit) -> list[str]:
    """What is said to be unknown, in words, and is carried along as that."""
    typed = checked.typed
    said = [w for w, field, value in _wanted(checked) if value is None and is_unknown(typed.get(field, ""))]
    edges = {"edges of the spans": checked.span_edges, "edges of the bridge": checked.bridge_edges}
    return said + [words for words, value in edges.items() if value == "unknown"]


def can_solve(checked: Fit) -> bool:
    """Whether everything is known that a grip is worked out from."""
    return not missing(checked) and not unknown(checked)


def grip(
    of: Fit,
    circumference_in: float = USUAL_CIRCUMFERENCE_IN,
    sleeve_od_in: float | None = None,
    thumb_depth_in: float = ASSUMED_THUMB_DEPTH_IN,
    sleeve_pitch_in: tuple[float, float] | None = None,
) -> Grip:
    """A complete fit as the calculation takes it, in one ball with one sleeve or none."""
    thumb = of.hole("thumb")
    return Grip(
        circumference_in=circumference_in,
        hand="left" if of.hand == "left" else "right",
        thumb=Thumb(
            hole_in=_float(thumb.hole_in),
            forward_in=_float(thumb.forward_in),
            right_in=_float(thumb.right_in),
            oval_in=_float(thumb.oval_in),
            oval_deg=_float(thumb.oval_deg),
            depth_in=thumb_depth_in,
        ),
        middle=_finger(of.hole("middle"), _float(of.span_middle_in)),
        ring=_finger(of.hole("ring"), _float(of.span_ring_in)),
        bridge_in=_float(of.bridge_in),
        span_edges=of.span_edges,  # type: ignore[arg-type]  # "unknown" is kept out by can_solve
        bridge_edges=of.bridge_edges,  # type: ignore[arg-type]
        sleeve_od_in=sleeve_od_in,
        sleeve_pitch_in=sleeve_pitch_in,
    )


def keep_finished(of: Fit, asked: Grip) -> tuple[Grip, dict[str, Any] | None]:
    """A fit typed by the sleeve of its own hardware, for the sleeve that is asked for, and what was kept to do so.

    Where the two sleeves differ in size or axis, the finished spans of the fit are kept, as in a transfer; the second
    part holds them beside the sleeve-to-cut of the fit's own hardware, to be shown. It is None where nothing moves.
    """
    own_od = sleeve_od_in(of.system)
    along_thumb = asked.sleeve_pitch_in in {None, (asked.thumb.forward_in, asked.thumb.right_in)}
    if of.span_edges != "sleeve" or (own_od == asked.sleeve_od_in and along_thumb):
        return asked, None
    try:
        own = solve_once(replace(asked, sleeve_od_in=own_od, sleeve_pitch_in=None))
    except CannotBuildError as error:
        raise InvalidError.at("fit_id", f"Fit {of.letter} was typed by a sleeve: {error.message}.") from None
    finished = {"middle": own.middle_spans.finished_in, "ring": own.ring_spans.finished_in}
    fingers = {name: replace(getattr(asked, name), span_in=span) for name, span in finished.items()}
    kept = {
        "hardware": _label(of),
        "sleeve_od_in": own_od,
        "sleeve_to_cut_in": {name: getattr(asked, name).span_in for name in finished},
        "finished_in": finished,
    }
    return replace(asked, **fingers, span_edges="finished"), kept


def _finger(hole: FitHole, span_in: float) -> Finger:
    return Finger(
        span_in=span_in,
        cut_in=_float(hole.cut_in or hole.hole_in),
        hole_in=_float(hole.hole_in),
        forward_in=_float(hole.forward_in),
        right_in=_float(hole.right_in),
        depth_in=_float(hole.depth_in) or ASSUMED_FINGER_DEPTH_IN,
    )


def depths(of: Fit) -> dict[str, tuple[float, bool]]:
    """How deep each hole goes in inches, and whether that is assumed; without the thumb where hardware decides it."""
    known = {digit: of.hole(digit).depth_in for digit in FINGERS}
    deep = {d: (_float(given) or ASSUMED_FINGER_DEPTH_IN, not given) for d, given in known.items()}
    return deep if of.system_id else deep | {"thumb": (ASSUMED_THUMB_DEPTH_IN, True)}


def _float(value: Fraction | None) -> float:
    return float(value or 0)


def sleeve_od_in(system: InsertSystem | None) -> float | None:
    return float(system.sleeve_od_in) if system and system.sleeve_od_in else None


def solve(of: Fit, system: InsertSystem | None, circumference_in: float = USUAL_CIRCUMFERENCE_IN) -> SolvedGrip:
    """The fit worked out in a ball with this hardware; InvalidError at the form field otherwise."""
    try:
        return solve_once(grip(of, circumference_in, sleeve_od_in(system)))
    except CannotBuildError as error:
        raise invalid(error) from None


def invalid(error: CannotBuildError) -> InvalidError:
    """A refusal of the calculation, at the form field that has to change."""
    field = _FORM_FIELD.get(error.field, "")
    message = error.message[0].upper() + error.message[1:] + "."
    return InvalidError(message, {field: FieldError(message)})


@dataclass(frozen=True)
class Difference:
    """One line of a comparison: what, both values, and the difference in words (empty when they agree)."""

    what: str
    old: str
    new: str
    words: str


def compare(a: Fit, b: Fit) -> list[Difference]:
    """Two revisions line by line, differences in words and 64ths."""
    lines = [
        _text("grip style", a.style, b.style),
        _length("span to middle", a.span_middle_in, b.span_middle_in, "longer", "shorter"),
        _length("span to ring", a.span_ring_in, b.span_ring_in, "longer", "shorter"),
        _text("spans measured to", a.span_edges, b.span_edges),
        _length("bridge", a.bridge_in, b.bridge_in, "wider", "narrower"),
        _text("bridge measured to", a.bridge_edges, b.bridge_edges),
        _text("thumb hardware", _label(a), _label(b)),
    ]
    for digit in DIGITS:
        old, new = a.hole(digit), b.hole(digit)
        lines.append(_length(f"{digit} hole", old.hole_in, new.hole_in, "larger", "smaller"))
        if digit == "thumb":
            lines.append(_length("thumb oval", old.oval_in, new.oval_in, "wider", "narrower"))
            lines.append(_text("thumb oval direction", _clock(old), _clock(new)))
        else:
            lines.append(_length(f"{digit} bore for insert", old.cut_in, new.cut_in, "larger", "smaller"))
            lines.append(_length(f"{digit} depth", old.depth_in, new.depth_in, "deeper", "shallower"))
        lines.append(_pitch(f"{digit} pitch, forward or reverse", old.forward_in, new.forward_in, "forward", "reverse"))
        lines.append(_pitch(f"{digit} pitch, left or right", old.right_in, new.right_in, "right", "left"))
    lines.append(_text("notes on hand and skin", a.hand_notes, b.hand_notes))
    return lines


def _label(of: Fit) -> str:
    return of.system.label if of.system_id and of.system else "none"


def _clock(hole: FitHole) -> str:
    return clock_words(hole.oval_deg or 0) if hole.oval_in else "round"


def _text(what: str, old: str, new: str) -> Difference:
    return Difference(what, old or "none", new or "none", "" if old == new else "changed")


def _length(what: str, old: Fraction | None, new: Fraction | None, more: str, less: str) -> Difference:
    words = "" if old == new else "changed" if old is None or new is None else in_64ths(new - old, more, less)
    return Difference(what, _shown(old), _shown(new), words)


def _pitch(what: str, old: Fraction | None, new: Fraction | None, plus: str, minus: str) -> Difference:
    say = vertical_words if plus == "forward" else lateral_words
    words = "" if old == new else "changed" if old is None or new is None else pitch_change(old, new, plus, minus)
    return Difference(what, "unknown" if old is None else say(old), "unknown" if new is None else say(new), words)


def _shown(value: Fraction | None) -> str:
    return "unknown" if value is None else inches(value)


def solved_from(session: Session, form: FitForm) -> SolvedGrip | None:
    """What a typed fit works out to, stored nowhere; None while something is still missing."""
    sketched = Fit(hand=form.hand, holes=[FitHole(digit=d) for d in DIGITS])
    _fill(sketched, form)
    if not can_solve(sketched):
        return None
    return solve(sketched, session.get(InsertSystem, form.system_id) if form.system_id else None)
