"""What happened to a bowler, told in a few lines, newest first: fits, balls drilled, inners, troubles, hand-overs."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import bindparam, select
from sqlalchemy.orm import Session

from app.measures.wording import VERDICT_WORDS
from app.models import Ball, Drilling, Fit, Inner, OwnerChange, Trouble
from app.services.measurements import SpanComparison
from app.services.troubles import KINDS

LONGEST = 12


@dataclass(frozen=True)
class Event:
    """One line; `is_open` where somebody has still to do something about it."""

    at: datetime
    words: str
    href: str
    is_open: bool = False


def list_events(
    fits: Iterable[Fit],
    drilled: Sequence[tuple[Ball, Drilling]],
    measured: Mapping[int, SpanComparison | None],
    inners: Iterable[Inner],
    more: Iterable[Event],
) -> list[Event]:
    """Returns the newest lines of a bowler's record, newest first."""
    events = [*more, *(_tell_fit(fit) for fit in fits)]
    events += [_tell_drilling(ball, drilling, measured.get(drilling.id)) for ball, drilling in drilled]
    events += [Event(i.created_at, f"{i.label} recorded", f"/inners/{i.id}") for i in inners]
    return sorted(events, key=lambda event: event.at, reverse=True)[:LONGEST]


def _tell_fit(fit: Fit) -> Event:
    at = fit.in_force_at or fit.created_at
    state = {"draft": "is a draft", "in force": "in force", "discarded": "discarded"}.get(fit.state, "was in force")
    return Event(
        at, f"Fit {fit.letter}, {fit.hand} hand, {state}: {fit.reason}", f"/fits/{fit.id}", fit.state == "draft"
    )


def _tell_drilling(ball: Ball, drilling: Drilling, result: SpanComparison | None) -> Event:
    at = drilling.closed_at or drilling.called_off_at or drilling.drilled_at or drilling.planned_at
    words = f"{ball.label} {drilling.state}"
    if result:
        words += f", {VERDICT_WORDS[result.verdict]}"
    return Event(at, words, f"/drillings/{drilling.id}", drilling.state in ("planned", "drilled"))


_TROUBLES = (
    select(Trouble.at, Trouble.what, Trouble.drilling_id, Ball.label)
    .join(Drilling, Drilling.id == Trouble.drilling_id)
    .join(Ball, Ball.id == Drilling.ball_id)
    .where(Ball.bowler_id == bindparam("bowler_id"))
)


def list_troubles(session: Session, bowler_id: int) -> list[Event]:
    """Returns the troubles logged about a bowler's balls."""
    rows = session.execute(_TROUBLES, {"bowler_id": bowler_id})
    return [Event(row.at, f"{KINDS[row.what].words}: {row.label}", f"/drillings/{row.drilling_id}") for row in rows]


def tell_owner_changes(owner_changes: Iterable[OwnerChange], bowler_id: int) -> list[Event]:
    """Returns what came from another bowler and what went to one."""
    events = []
    for change in owner_changes:
        thing = change.ball or change.inner
        if thing is None:
            continue
        came = change.to_id == bowler_id
        other = change.owner_before if came else change.owner_after
        way = f"{thing.label} {'came from' if came else 'went to'} {other.name}"
        events.append(Event(change.at, way, f"/{'balls' if change.ball_id else 'inners'}/{thing.id}"))
    return events
