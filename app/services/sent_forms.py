"""Idempotency keys of saved forms: a form sent again redirects as before and saves nothing.

A key belongs to one sender and one URL: the same key from another person is another form.
"""

import hashlib
from datetime import timedelta
from typing import NamedTuple

from sqlalchemy import delete
from sqlalchemy.orm import Session

from app.models import SentForm, now

_KEPT = timedelta(days=2)  # longer than any browser or program tries again


class FormKey(NamedTuple):
    """The sender of a form, its URL and its key; an empty key is none."""

    caller: str
    address: str
    key: str

    @property
    def stored(self) -> str:
        return hashlib.sha256(repr(tuple(self)).encode()).hexdigest()


def find_location(session: Session, sent: FormKey) -> str | None:
    """Returns the redirect of the form with this key, or None if it was not saved."""
    saved = session.get(SentForm, sent.stored) if sent.key else None
    return saved.location if saved else None


def remember(session: Session, sent: FormKey, location: str) -> None:
    """Stores the key in the transaction that saves the form; deletes keys older than `_KEPT`."""
    if sent.key:
        session.execute(delete(SentForm).where(SentForm.at < now() - _KEPT))
        session.add(SentForm(key=sent.stored, location=location))
