"""Rate limit for passwords and PINs: a try is committed before it is verified, and deleted when it was right."""

from datetime import timedelta
from typing import NamedTuple

from sqlalchemy import delete, func, select
from sqlalchemy.orm import Session

from app.errors import FieldError, TooManyTriesError
from app.models import Attempt, Shop, Staff, now
from app.models.changes import GUESSED
from app.services import changes

TRIES_LAST = timedelta(minutes=15)
TRIES_A_NAME, TRIES_AN_ADDRESS, TRIES_A_PIN, TRIES_A_SHOP = 5, 30, 5, 20
PINS_A_DAY = 20  # wrong PINs of one person: guessing four digits then takes more than a year
PASSWORD, PIN = "password", "pin"
_WAIT = int(TRIES_LAST.total_seconds() // 60)
_PATIENCE = {  # by kind: limit of a name, limit of an address, message beyond it
    PASSWORD: (
        TRIES_A_NAME,
        TRIES_AN_ADDRESS,
        "Too many tries. Wait {} minutes, or ask the owner for a new invitation.",
    ),
    PIN: (TRIES_A_PIN, TRIES_A_SHOP, "Too many wrong PINs. Wait {} minutes, or sign in with the password."),
}


class Attempted(NamedTuple):
    """One counted try, and whether it is the last before its name or address is blocked."""

    id: int
    is_last_of_name: bool
    is_last_of_address: bool


def count_try(session: Session, kind: str, name: str, address: str) -> Attempted:
    """Counts a try before it is verified, so that concurrent tries in any process never exceed the limit.

    Raises TooManyTriesError after too many wrong tries. Commits the session together with the try.
    """
    failed = select(func.count()).select_from(Attempt).where(Attempt.kind == kind, Attempt.address == address)
    lately, today = failed.where(Attempt.at > now() - TRIES_LAST), failed.where(Attempt.at > now() - timedelta(days=1))
    by_name = session.scalar(lately.where(Attempt.name == name)) or 0
    by_address = session.scalar(lately) or 0
    in_all = (session.scalar(today.where(Attempt.name == name)) or 0) if kind == PIN else 0
    most_of_name, most_of_address, words = _PATIENCE[kind]
    if by_name >= most_of_name or by_address >= most_of_address or in_all >= PINS_A_DAY:
        session.rollback()
        message = words.format(_WAIT)
        raise TooManyTriesError(message, {PIN: FieldError(message)} if kind == PIN else {})
    session.execute(delete(Attempt).where(Attempt.at < now() - timedelta(days=1)))
    counted = Attempt(kind=kind, name=name[:60], address=address)
    session.add(counted)
    session.commit()
    is_last_of_name = by_name + 1 == most_of_name or in_all + 1 == PINS_A_DAY
    return Attempted(counted.id, is_last_of_name, by_address + 1 == most_of_address)


def take_back(session: Session, tried: Attempted) -> None:
    session.execute(delete(Attempt).where(Attempt.id == tried.id))
    session.commit()


def note_last_try(session: Session, tried: Attempted, of: Staff | None) -> None:
    """Writes a line of history, shown to the owner, for the last wrong try before a block."""
    if tried.is_last_of_name and of:
        changes.note(session, None, of, changes.Entry(GUESSED, "", f"too many: refused for {_WAIT} minutes"))
    shop = session.get(Shop, of.shop_id) if tried.is_last_of_address and of and of.shop_id else None
    if shop:
        changes.note(
            session,
            None,
            shop,
            changes.Entry(GUESSED, "", f"too many in this shop: refused for {_WAIT} minutes"),
        )
    session.commit()
