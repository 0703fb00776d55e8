"""What was a mistake is taken back: a draft fit, a plan before its first cut, a ball or bowler never used.

Nothing is deleted: each is marked with the reason, counts nowhere, and can be brought back from its own page.
"""

from collections.abc import Mapping, Sequence
from typing import TypeVar

from sqlalchemy import Select, func, select
from sqlalchemy.orm import Session

from app.errors import ConflictError
from app.models import (
    AxisPoint,
    Ball,
    BallMarks,
    Bowler,
    Drilling,
    FavouriteLayout,
    Fit,
    Inner,
    InsertSystem,
    Layout,
    Merger,
    OldHole,
    OwnerChange,
    Ticket,
    Weighing,
    now,
)
from app.schemas.taken_back import TakingBackForm
from app.services import balls, bench, bowler_words, bowlers, changes, drillings, fits

T = TypeVar("T", Ball, Bowler)

# Draft fits -----------------------------------------------------------------------------------------------------------


def discard_fit(session: Session, fit_id: int, form: TakingBackForm) -> Fit:
    """Discards a draft; raises ConflictError for a fit that was in force once."""
    of = fits.get_fit(session, fit_id)
    changes.require_version(session, of, form.version)
    if of.state != "draft":
        raise ConflictError(f"Fit {of.letter} is {of.state}: only a draft can be discarded.")
    changes.revise(session, form.who, of, {"state": "discarded"}, form.why)
    of.discarded_reason = form.why
    return of


def restore_fit(session: Session, fit_id: int, form: TakingBackForm) -> Fit:
    """Makes a discarded fit a draft again; raises ConflictError if that hand has another draft by now."""
    of = fits.get_fit(session, fit_id)
    changes.require_version(session, of, form.version)
    if of.state != "discarded":
        raise ConflictError(f"Fit {of.letter} is {of.state}: it is not discarded.")
    same_hand = (Fit.bowler_id == of.bowler_id, Fit.hand == of.hand, Fit.state == "draft")
    other = session.scalar(select(Fit).where(*same_hand))
    if other:
        raise ConflictError(f"Fit {other.letter} of this hand is a draft by now. Finish or discard that one first.")
    changes.revise(session, form.who, of, {"state": "draft"}, form.why)
    of.discarded_reason = ""
    changes.return_to_use(session, form.who, InsertSystem, of.system_id, *(hole.system_id for hole in of.holes))
    return of


# Plans ----------------------------------------------------------------------------------------------------------------


def find_first_cut(of: Drilling) -> str:
    """Returns the words of the first cut that was made by this plan, "" before it; its steps are loaded."""
    return next((step.words for step in of.steps if step.is_cut and step.is_done), "")


def call_off(session: Session, drilling_id: int, form: TakingBackForm) -> Drilling:
    """Marks a plan as not drilled; raises ConflictError after its first cut."""
    of = bench.get_drilling(session, drilling_id)
    changes.require_version(session, of, form.version)
    if of.state != "planned":
        raise ConflictError(f"This drilling is {of.state}: only a plan can be called off.")
    cut = find_first_cut(of)
    if cut:
        raise ConflictError(
            f"The first cut is made (“{cut}”), so there is a hole in this ball. Finish the drilling, or plug it."
        )
    drillings.change_state(session, form.who, of, {"state": "not drilled", "called_off_at": now()}, form.why)
    of.called_off_reason = form.why
    return of


def restore_plan(session: Session, drilling_id: int, form: TakingBackForm) -> Drilling:
    """Makes a plan that was called off due again; raises ConflictError if something else happened to its ball."""
    of = bench.get_drilling(session, drilling_id)
    changes.require_version(session, of, form.version)
    if of.state != "not drilled":
        raise ConflictError(f"This drilling is {of.state}: it was not called off.")
    reason = find_obstacle(session, of)
    if reason:
        raise ConflictError(f"{reason} Plan it anew.")
    drillings.change_state(session, form.who, of, {"state": "planned", "called_off_at": None}, form.why)
    of.called_off_reason = ""
    return of


def find_obstacle(session: Session, of: Drilling) -> str:
    """Returns what happened to the ball since its plan was called off that keeps it from being due, or nothing."""
    ball = of.ball
    if ball.retired_at or ball.removed_at:
        return f"{ball.label} is out of use since."
    newer = session.scalar(select(Drilling.id).where(Drilling.ball_id == ball.id, Drilling.id > of.id).limit(1))
    if newer:
        return f"{ball.label} was planned again since."
    if of.fit and of.fit.bowler_id != ball.bowler_id:
        return f"{ball.label} went to another bowler since."
    inner = session.get(Inner, of.inner_id) if of.inner_id else None
    if inner and inner.bowler_id != ball.bowler_id:
        return f"{inner.label} went to another bowler since."
    return ""


# Balls and bowlers ----------------------------------------------------------------------------------------------------


def list_ball_obstacles(session: Session, ball_id: int) -> list[str]:
    """Returns in words what is recorded of a ball, so that it was no mere mistake; empty if it was never used."""
    counts = {
        "drilling": select(func.count()).where(Drilling.ball_id == ball_id),
        "old hole": select(func.count()).where(OldHole.ball_id == ball_id),
        "ticket": select(func.count()).where(Ticket.ball_id == ball_id),
        "reading of its marks": select(func.count()).where(BallMarks.ball_id == ball_id),
        "layout": select(func.count()).where(Layout.ball_id == ball_id),
        "weighing": select(func.count()).where(Weighing.ball_id == ball_id),
        "change of owner": select(func.count()).where(OwnerChange.ball_id == ball_id),
    }
    return describe_counts(session, counts)


def list_bowler_obstacles(session: Session, bowler_id: int, counts_discarded: bool = True) -> list[str]:
    """Returns in words what is recorded of a bowler; empty if nothing hangs on the record."""
    fit_states = () if counts_discarded else (Fit.state != "discarded",)
    points = () if counts_discarded else (AxisPoint.taken_back_at.is_(None),)
    moved = (OwnerChange.from_id == bowler_id) | (OwnerChange.to_id == bowler_id)
    counts = {
        "fit": select(func.count()).where(Fit.bowler_id == bowler_id, *fit_states),
        "ball": select(func.count()).where(Ball.bowler_id == bowler_id, Ball.removed_at.is_(None)),
        "inner": select(func.count()).where(Inner.bowler_id == bowler_id),
        "axis point": select(func.count()).where(AxisPoint.bowler_id == bowler_id, *points),
        "favourite layout": select(func.count()).where(FavouriteLayout.bowler_id == bowler_id),
        "change of owner": select(func.count()).where(moved),
        "merged record": select(func.count()).where(Merger.kept_id == bowler_id, Merger.parted_at.is_(None)),
    }
    return describe_counts(session, counts)


def describe_counts(session: Session, counts: Mapping[str, Select[int]]) -> list[str]:
    """Returns in words the counts that are not 0."""
    found = {words: session.scalar(query) or 0 for words, query in counts.items()}
    plural = {"change of owner": "changes of owner", "reading of its marks": "readings of its marks"}
    return [
        f"{count} {words if count == 1 else plural.get(words, words + 's')}" for words, count in found.items() if count
    ]


def remove_ball(session: Session, ball_id: int, form: TakingBackForm) -> Ball:
    """Removes a ball that was taken in by mistake; raises ConflictError for one that was used."""
    of = balls.get_ball(session, ball_id)
    _remove(session, of, of.label, list_ball_obstacles(session, of.id), form)
    session.flush()
    bowler_words.index_bowler(session, of.bowler)
    return of


def return_ball(session: Session, ball_id: int, form: TakingBackForm) -> Ball:
    """Puts a removed ball back; raises ConflictError while its bowler is removed."""
    of = balls.get_ball(session, ball_id)
    bowlers.require_in_use(of.bowler)
    _put_back(session, of, of.label, form)
    session.flush()
    bowler_words.index_bowler(session, of.bowler)
    return of


def list_removed(session: Session, text: str) -> Sequence[Bowler]:
    """Returns the removed records whose name has all the typed words, or words that begin with them."""
    typed = bowler_words.fold_words(text)
    removed = session.scalars(select(Bowler).where(Bowler.removed_at.is_not(None)).order_by(Bowler.id)).all()
    own = {of.id: bowler_words.split_name(of.name) for of in removed}
    return [of for of in removed if typed and all(any(w.startswith(t) for w in own[of.id]) for t in typed)]


def remove_bowler(session: Session, bowler_id: int, form: TakingBackForm) -> Bowler:
    """Removes a bowler who was taken in by mistake; raises ConflictError if anything hangs on the record."""
    of = bowlers.get_bowler(session, bowler_id)
    if of.erased_at or of.id != bowler_id:
        raise ConflictError("This record is no longer one of its own: there is nothing to remove.")
    return _remove(session, of, of.name, list_bowler_obstacles(session, of.id), form)


def return_bowler(session: Session, bowler_id: int, form: TakingBackForm) -> Bowler:
    """Puts a removed bowler back."""
    of = bowlers.get_bowler(session, bowler_id)
    return _put_back(session, of, of.name, form)


def _remove(session: Session, of: T, name: str, obstacles: list[str], form: TakingBackForm) -> T:
    changes.require_version(session, of, form.version)
    if of.removed_at:
        raise ConflictError(f"{name} is removed already.")
    if obstacles:
        raise ConflictError(f"{name} was used: {', '.join(obstacles)} would be lost. It can only be kept.")
    changes.revise(session, form.who, of, {"removed_at": now()}, form.why)
    of.removed_reason = form.why
    return of


def _put_back(session: Session, of: T, name: str, form: TakingBackForm) -> T:
    changes.require_version(session, of, form.version)
    if not of.removed_at:
        raise ConflictError(f"{name} is not removed.")
    changes.revise(session, form.who, of, {"removed_at": None}, form.why)
    of.removed_reason = ""
    return of
