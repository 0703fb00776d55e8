"""Observed depths that tell of their own ball alone: of a bore shimmed, or gone on with where a bench had stopped."""

from sqlalchemy import ColumnElement, and_, func, or_, select
from sqlalchemy.orm import Session, aliased

from app.models import BenchStop, Bore, DepthObservation, Drilling, DrillingStep, Inner, Shop
from app.services import shops

_WENT_ON = ("carried_on", "shimmed", "planned")  # decisions with which a bore stayed as it had come out
BORE_ID = func.coalesce(Drilling.bore_id, Inner.trimmed_in_id)


def _match_apart() -> ColumnElement[bool]:
    """Matches an observation of a bore that was shimmed, or with which a bench went on where it had stopped."""
    bored = aliased(Drilling)
    is_at_bore = and_(
        DrillingStep.drilling_id == BenchStop.drilling_id,
        DrillingStep.position == BenchStop.position,
        DrillingStep.action == "bore",
    )
    stops = select(BenchStop.id).join(bored, bored.id == BenchStop.drilling_id).join(DrillingStep, is_at_bore)
    went_on = stops.where(bored.bore_id == BORE_ID, BenchStop.decision.in_(_WENT_ON)).correlate(Drilling, Inner)
    shimmed = select(Bore.id).where(Bore.id == BORE_ID, Bore.shim_in.is_not(None)).correlate(Drilling, Inner)
    return or_(went_on.exists(), shimmed.exists())


IS_APART = _match_apart()
_APART = (
    select(DepthObservation.id)
    .outerjoin(Drilling, Drilling.id == DepthObservation.drilling_id)
    .outerjoin(Inner, Inner.id == DepthObservation.inner_id)
    .where(DepthObservation.shop_id.in_(select(Shop.id).where(shops.IS_COUNTED_WITH)), IS_APART)
)


def list_apart(session: Session, shop_id: int) -> set[int]:
    """Returns the ids of a shop's observations that tell of their own ball alone."""
    return set(session.scalars(_APART, {"shop_ids": [shop_id]}))
