"""Other shops' keys: kept on first sight, with a warning where a shop's name comes with another key than before."""

from collections.abc import Sequence

from sqlalchemy import func, select
from sqlalchemy.orm import Session, joinedload

from app.cards.signing import fingerprint
from app.errors import ConflictError, NotFoundError
from app.models import KnownKey, now
from app.schemas.cards import AcceptanceForm
from app.services import changes


def find_known(session: Session, public_key: bytes) -> KnownKey | None:
    return session.scalar(select(KnownKey).where(KnownKey.public_key == public_key).options(joinedload(KnownKey.shop)))


def see(session: Session, who: int, public_key: bytes, name: str) -> tuple[KnownKey, bool]:
    """Returns the record of a key, and whether this is its first sight; one that takes another's place is marked."""
    known = find_known(session, public_key)
    if known:
        return known, False
    same_name = func.lower(KnownKey.name) == func.lower(name)
    others = session.scalar(select(KnownKey.id).where(same_name).limit(1))
    seen = KnownKey(public_key=public_key, name=name, is_changed=others is not None, shop=None)
    changes.add_record(session, who, seen, f"{name}: {fingerprint(public_key)}", "on first sight of a card")
    return seen, True


def is_warned_of(key: KnownKey) -> bool:
    """Whether nobody has compared the digits of a key that came in another's place."""
    return key.is_changed and key.accepted_at is None


def require_trusted(key: KnownKey) -> None:
    """Raises ConflictError for a key that came in another's place, until somebody has compared its digits."""
    if is_warned_of(key):
        raise ConflictError(
            f"{key.name} had another key before. Telephone them, compare the thirty digits, and have an owner "
            "accept the new key first."
        )


def accept(session: Session, key_id: int, form: AcceptanceForm) -> KnownKey:
    """Accepts a key that came in another's place, after its digits were compared."""
    key = session.get(KnownKey, key_id)
    if key is None:
        raise NotFoundError("There is no such key.")
    changes.require_version(session, key, form.version)
    if not is_warned_of(key):
        raise ConflictError("This key was accepted already.")
    changes.revise(session, form.who, key, {"accepted_at": now(), "accepted_by_id": form.who}, form.why)
    return key


def list_known(session: Session) -> Sequence[KnownKey]:
    """Returns every key of other shops, by name, the newest first."""
    query = select(KnownKey).options(joinedload(KnownKey.shop), joinedload(KnownKey.accepted_by))
    return session.scalars(query.order_by(func.lower(KnownKey.name), KnownKey.id.desc())).all()
