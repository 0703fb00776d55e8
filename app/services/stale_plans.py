"""Plans made stale by a newer fit: nothing changes under the driller, and what differs is shown."""

from dataclasses import dataclass

from sqlalchemy.orm import Session

from app.models import Drilling
from app.services import differences, fits


@dataclass(frozen=True)
class Staleness:
    """A plan whose fit was revised later: the fit in force now, and the differences."""

    fit_id: int
    letter: str
    lines: list[differences.Difference]


def find_staleness(session: Session, of: Drilling) -> Staleness | None:
    """Returns how a newer fit in force differs from an undrilled plan's, or None."""
    if of.state != "planned" or of.fit is None or of.fit.state == "in force":
        return None
    newer = next(
        (f for f in fits.list_of_bowler(session, of.fit.bowler_id) if f.hand == of.fit.hand and f.state == "in force"),
        None,
    )
    if newer is None:
        return None
    lines = differences.compare_fits(fits.get_fit(session, of.fit.id), newer)
    return Staleness(newer.id, newer.letter, [line for line in lines if line.words])
