"""Forms that have been saved, by the key each carried: sent again, they lead where they led and save nothing."""

from datetime import timedelta

from sqlalchemy import delete
from sqlalchemy.orm import Session

from app.models import SentForm, now

_KEPT = timedelta(days=2)  # longer than any browser or program tries again


def location_of(session: Session, key: str) -> str | None:
    """Where the form of this key led when it was saved; None if it was not."""
    sent = session.get(SentForm, key) if key else None
    return sent.location if sent else None


def remember(session: Session, key: str, location: str) -> None:
    """Notes in the transaction that saves a form that it was saved; forgets those of the day before yesterday."""
    if key:
        session.execute(delete(SentForm).where(SentForm.at < now() - _KEPT))
        session.add(SentForm(key=key, location=location))
