"""Personal data of one bowler: export all of it, or erase the person and keep the geometry.

Erasing deletes names, phones, texts, photos and old values; typed measures stay.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import ColumnElement, Table, delete, func, or_, select, update
from sqlalchemy.orm import Session, joinedload

from app.errors import InvalidError
from app.models import (
    Ball,
    BenchStop,
    Bore,
    Bowler,
    BowlerWord,
    Change,
    DepthObservation,
    Drilling,
    DrillingStep,
    Fit,
    FitHole,
    Inner,
    IntakeRow,
    Measurement,
    OldHole,
    Photo,
    TrialFit,
    Trouble,
    now,
)
from app.schemas.personal import ErasureForm
from app.services import bowler_words, bowlers, changes
from app.services.json_values import export_row

ERASED = "Erased bowler"


def _select_parts(bowler_id: int) -> dict[str, tuple[Any, ColumnElement[bool]]]:
    """Returns every table with data of a bowler and the condition that selects the bowler's rows."""
    balls = select(Ball.id).where(Ball.bowler_id == bowler_id)
    fits = select(Fit.id).where(Fit.bowler_id == bowler_id)
    drillings = select(Drilling.id).where(Drilling.ball_id.in_(balls))
    inners = select(Inner.id).where(Inner.bowler_id == bowler_id)
    bores = or_(
        Bore.id.in_(select(Drilling.bore_id).where(Drilling.ball_id.in_(balls))),
        Bore.id.in_(select(Inner.trimmed_in_id).where(Inner.bowler_id == bowler_id)),
    )
    return {
        "bowler": (Bowler, Bowler.id == bowler_id),
        "fits": (Fit, Fit.bowler_id == bowler_id),
        "fit holes": (FitHole, FitHole.fit_id.in_(fits)),
        "balls": (Ball, Ball.bowler_id == bowler_id),
        "old holes": (OldHole, OldHole.ball_id.in_(balls)),
        "photos": (Photo, Photo.ball_id.in_(balls)),
        "drillings": (Drilling, Drilling.ball_id.in_(balls)),
        "steps": (DrillingStep, DrillingStep.drilling_id.in_(drillings)),
        "stops": (BenchStop, BenchStop.drilling_id.in_(drillings)),
        "bores": (Bore, bores),
        "inners": (Inner, Inner.bowler_id == bowler_id),
        "measurements": (Measurement, or_(Measurement.drilling_id.in_(drillings), Measurement.inner_id.in_(inners))),
        "trial fits": (TrialFit, TrialFit.inner_id.in_(inners)),
        "depth observations": (
            DepthObservation,
            or_(DepthObservation.drilling_id.in_(drillings), DepthObservation.inner_id.in_(inners)),
        ),
        "troubles": (Trouble, Trouble.drilling_id.in_(drillings)),
        "history": (
            Change,
            or_(Change.bowler_id == bowler_id, (Change.noun == "bowler") & (Change.noun_id == bowler_id)),
        ),
    }


def export_bowler(session: Session, bowler_id: int) -> dict[str, Any]:
    """Returns all data of a bowler by table, as JSON values."""
    bowlers.get_bowler(session, bowler_id)
    held: dict[str, Any] = {}
    for name, (model, own) in _select_parts(bowler_id).items():
        table: Table = model.__table__
        rows = session.execute(select(table).where(own).order_by(table.c.id))
        held[name] = [export_row(table, row._mapping) for row in rows]
    return held


def erase(session: Session, bowler_id: int, form: ErasureForm) -> Bowler:
    """Erases the person from the records: name, phone, notes, photos, free text and old values of all of these.

    Measures, dates and verdicts stay, for the shop's own statistics; nothing links them to the person. It cannot be
    undone. Earlier backups contain the person until they are rotated out. Raises InvalidError for a wrong name.
    """
    erased = bowlers.get_bowler(session, bowler_id)
    changes.require_version(session, erased, form.version)
    if erased.erased_at:
        raise InvalidError("This bowler has been erased already.")
    if form.name != erased.name:
        raise InvalidError.at("name", "Type the name exactly as it stands on the record.")
    changes.require_may_edit(session, erased)
    parts = _select_parts(bowler_id)
    name_words = set(bowler_words.fold_words(erased.name))
    _blank_rows(session, parts)
    for row in session.scalars(select(IntakeRow)):
        if set(bowler_words.fold_words(row.typed.get("bowler_name", ""))) == name_words:
            session.delete(row)
    session.execute(delete(BowlerWord).where(BowlerWord.bowler_id == bowler_id))
    session.execute(delete(Photo).where(parts["photos"][1]))
    erased.name, erased.erased_at, erased.is_minor = ERASED, now(), False
    for name in ("phone", "phone_digits", "phone_last4", "notes", "guardian", "consent", "league"):
        setattr(erased, name, "")
    erased.home_shop_id = None
    changes.note(session, form.who, erased, changes.Entry("erased", "", "the person was taken out of these records"))
    return erased


_FREE_TEXT: dict[str, tuple[str, ...]] = {
    "fits": ("reason", "hand_notes"),
    "balls": ("serial", "colour", "condition"),
    "old holes": ("label", "filling", "filled_by"),
    "drillings": ("notes", "planned_reason", "confirmed_reason", "verdict_reason"),
    "steps": ("note", "skip_reason"),
    "stops": ("reason", "handed_over"),
    "inners": ("notes",),
    "measurements": ("note",),
    "depth observations": ("notes",),
    "troubles": ("note",),
    "history": ("old", "new", "why"),
}


def _blank_rows(session: Session, parts: dict[str, tuple[Any, ColumnElement[bool]]]) -> None:
    for name, fields in _FREE_TEXT.items():
        model, own = parts[name]
        blank = update(model).where(own).values(dict.fromkeys(fields, ""))
        session.execute(blank, execution_options={"synchronize_session": False})
    for name, model in (("balls", Ball), ("inners", Inner)):
        numbered = update(model).where(parts[name][1]).values(label=name[:-1])
        session.execute(numbered, execution_options={"synchronize_session": False})


@dataclass(frozen=True)
class PastRetention:
    """A bowler whose last visit is longer ago than the owner's retention period."""

    bowler: Bowler
    last_at: datetime


def list_past_retention(session: Session, years: int) -> Sequence[PastRetention]:
    """Returns bowlers without a visit for this many years, longest first; none where no retention is set."""
    if not years:
        return []
    last = func.coalesce(func.max(Change.at), Bowler.created_at)
    query = (
        select(Bowler, last)
        .outerjoin(Change, Change.bowler_id == Bowler.id)
        .where(Bowler.erased_at.is_(None))
        .options(joinedload(Bowler.home_shop))
        .group_by(Bowler.id)
        .having(last < now() - timedelta(days=365.25 * years))
        .order_by(last)
        .limit(200)
    )
    return [PastRetention(found, at) for found, at in session.execute(query)]
