"""Which balls share something with a drilling: the bit, its collar's setting, a lot of parts, or the week.

Where one ball came out wrong, the next question is which others are of the same making. The list says what each met and
measured, and what came back; it names nobody who did it.
"""

from collections import Counter
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from fractions import Fraction

from sqlalchemy import ColumnElement, Select, func, select
from sqlalchemy.orm import Session, aliased, joinedload, selectinload

from app.closed_sets import AlikeBy
from app.errors import InvalidError
from app.models import Ball, Bit, BitEvent, Drilling, DrillingStep, Part, PartMovement, Trouble
from app.services import drillings, measurements, shelf
from app.services.measurements import SpanComparison

MOST = 60
_SETS_COLLAR = ("collar_set", "replaced")


@dataclass(frozen=True)
class AlikeBall:
    """A drilling that shares something, with its bore's depth, its measures, and how many troubles came back."""

    drilling: Drilling
    depth_in: Fraction | None
    met_bit: str
    compared: SpanComparison | None
    troubles: int


@dataclass(frozen=True)
class Alike:
    """What is shared, in words, and who shares it, the newest first; `missing` says why nothing can be told."""

    shared: str
    rows: list[AlikeBall]
    missing: str = ""


def list_alike(session: Session, drilling_id: int, by: AlikeBy) -> tuple[Drilling, Alike]:
    """Returns a drilling and those that share this with it, itself among them; raises NotFoundError."""
    of = drillings.load(session, drilling_id)
    shared, own, missing = _FINDERS[by](session, of)
    rows = [] if own is None else _load_rows(session, select(Drilling).where(own))
    return of, Alike(shared, rows, missing)


Found = tuple[str, ColumnElement[bool] | None, str]


def _find_bore(session: Session, of: Drilling) -> DrillingStep | None:
    own = (DrillingStep.drilling_id == of.id, DrillingStep.action == "bore", DrillingStep.met_bit != "")
    return session.scalars(select(DrillingStep).where(*own)).first()


def _share_bit(session: Session, of: Drilling) -> Found:
    bore = _find_bore(session, of)
    if bore is None:
        return "", None, "Nobody wrote down which bit bored this ball."
    return f"bored with {bore.met_bit}", Drilling.id.in_(_select_bored(bore.met_bit)), ""


def _select_bored(met_bit: str) -> Select[int]:
    own = (DrillingStep.action == "bore", DrillingStep.met_bit == met_bit, DrillingStep.ticked_at.is_not(None))
    return select(DrillingStep.drilling_id).where(*own)


def _share_collar(session: Session, of: Drilling) -> Found:
    bore = _find_bore(session, of)
    if bore is None or bore.ticked_at is None:
        return "", None, "Nobody wrote down which bit bored this ball."
    events = select(BitEvent.at).join(Bit, Bit.id == BitEvent.bit_id)
    events = events.where(Bit.label == bore.met_bit, BitEvent.what.in_(_SETS_COLLAR)).order_by(BitEvent.at)
    settings = session.scalars(events).all()
    begun = max((at for at in settings if at <= bore.ticked_at), default=None)
    ended = min((at for at in settings if at > bore.ticked_at), default=None)
    bored = _select_bored(bore.met_bit)
    bored = bored.where(DrillingStep.ticked_at >= begun) if begun else bored
    bored = bored.where(DrillingStep.ticked_at < ended) if ended else bored
    since = f"since {begun.astimezone():%Y-%m-%d %H:%M}" if begun else "before anybody wrote down its setting"
    until = f" until {ended.astimezone():%Y-%m-%d %H:%M}" if begun and ended else ""
    return f"bored with {bore.met_bit}, its collar as it was set {since}{until}", Drilling.id.in_(bored), ""


def _share_lot(session: Session, of: Drilling) -> Found:
    movement, contrary = aliased(PartMovement), aliased(PartMovement)
    undone = select(contrary.undoes_id).where(contrary.undoes_id.is_not(None))
    used = select(movement.part_id).where(movement.cause == "use", movement.id.not_in(undone))
    own = session.scalars(select(Part).where(Part.id.in_(used.where(movement.drilling_id == of.id)))).all()
    if not own:
        return "", None, "No part was counted for this ball: the shop does not count what it used, or it came before."
    others = select(movement.drilling_id).where(movement.cause == "use", movement.id.not_in(undone))
    others = others.where(movement.part_id.in_([part.id for part in own]), movement.drilling_id.is_not(None))
    words = "; ".join(shelf.name_part(part) for part in own)
    return f"with a part of the same lot: {words}", Drilling.id.in_(others), ""


def _share_week(session: Session, of: Drilling) -> Found:
    if of.drilled_at is None:
        return "", None, "This ball is not drilled yet."
    day = of.drilled_at.astimezone()
    monday = datetime(day.year, day.month, day.day) - timedelta(days=day.weekday())
    begins, ends = (at.astimezone().astimezone(UTC) for at in (monday, monday + timedelta(days=7)))
    year, week, _ = day.isocalendar()
    own = (Drilling.drilled_at >= begins) & (Drilling.drilled_at < ends)
    return f"drilled in week {week} of {year}", own, ""


_FINDERS = {"bit": _share_bit, "collar": _share_collar, "lot": _share_lot, "week": _share_week}


def _load_rows(session: Session, query: Select[Drilling]) -> list[AlikeBall]:
    options = (
        joinedload(Drilling.ball).joinedload(Ball.bowler),
        joinedload(Drilling.bore),
        joinedload(Drilling.system),
        selectinload(Drilling.measurements),
    )
    drilled = query.where(Drilling.drilled_at.is_not(None)).order_by(Drilling.drilled_at.desc(), Drilling.id.desc())
    found = session.scalars(drilled.options(*options).limit(MOST)).all()
    ids = [of.id for of in found]
    counts = select(Trouble.drilling_id, func.count(Trouble.id)).where(Trouble.drilling_id.in_(ids))
    troubles = Counter({key: count for key, count in session.execute(counts.group_by(Trouble.drilling_id))})
    bores = select(DrillingStep).where(DrillingStep.drilling_id.in_(ids), DrillingStep.action == "bore")
    met = {step.drilling_id: step for step in session.scalars(bores)}
    return [_make_row(of, met.get(of.id), troubles[of.id]) for of in found]


def _make_row(of: Drilling, bore: DrillingStep | None, troubles: int) -> AlikeBall:
    depth = bore.met_depth_in if bore and bore.met_depth_in is not None else of.bore.depth_in if of.bore else None
    return AlikeBall(of, depth, bore.met_bit if bore else "", _compare(of), troubles)


def _compare(of: Drilling) -> SpanComparison | None:
    try:
        return measurements.compare_built(of)
    except InvalidError:
        return None
