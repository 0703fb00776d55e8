"""Bowlers who have not been in the shop for longer than its owner keeps records."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy import func, select
from sqlalchemy.orm import Session, joinedload

from app.models import Bowler, Change, now


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
        .where(Bowler.erased_at.is_(None), Bowler.merged_into_id.is_(None))
        .options(joinedload(Bowler.home_shop))
        .group_by(Bowler.id)
        .having(last < now() - timedelta(days=365.25 * years))
        .order_by(last)
        .limit(200)
    )
    return [PastRetention(found, at) for found, at in session.execute(query)]
