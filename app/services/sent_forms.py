"""Forms that have been saved, by the key each carried: sent again, they lead where they led and save nothing.

A key is its sender's own and counts at one address: what another sends by the same key is another form.
"""

import hashlib
from datetime import timedelta
from typing import NamedTuple

from sqlalchemy import delete
from sqlalchemy.orm import Session

from app.models import SentForm, now

_KEPT = timedelta(days=2)  # longer than any browser or program tries again


class FormKey(NamedTuple):
    """Who sends a form, where to, and the key it carries; an empty key is none."""

    caller: str
    address: str
    key: str

    @property
    def stored(self) -> str:
        return hashlib.sha256(repr(tuple(self)).encode()).hexdigest()


def find_location(session: Session, sent: FormKey) -> str | None:
    """Where the form of this key led when it was saved; None if it was not."""
    saved = session.get(SentForm, sent.stored) if sent.key else None
    return saved.location if saved else None


def remember(session: Session, sent: FormKey, location: str) -> None:
    """Notes in the transaction that saves a form that it was saved; forgets those of the day before yesterday."""
    if sent.key:
        session.execute(delete(SentForm).where(SentForm.at < now() - _KEPT))
        session.add(SentForm(key=sent.stored, location=location))
