"""Other shops' keys: kept on first sight, with a warning where a shop's name comes with another key than before."""

import unicodedata
from collections.abc import Sequence

from sqlalchemy import func, select
from sqlalchemy.orm import Session, joinedload

from app.cards.signing import fingerprint
from app.errors import ConflictError, InvalidError, NotFoundError
from app.models import KnownKey, ReadCard, Shop, now
from app.schemas.cards import AcceptanceForm
from app.services import changes, shops
from app.services.bowler_words import fold_words


def find_known(session: Session, public_key: bytes) -> KnownKey | None:
    return session.scalar(select(KnownKey).where(KnownKey.public_key == public_key).options(joinedload(KnownKey.shop)))


# letters of other alphabets that look like ours: from memory of Unicode UTS 39, the commonest only
_ALIKE = str.maketrans("аеорсухіјѕԁһкмтвнοαειкνρτυχβηκ01", "aeopcyxijsdhkmtbhoaeiknptuxbhkol")


def fold_name(name: str) -> str:
    """Returns what is left of a shop's name when case, blanks, signs, accents and letters that look alike do not count.

    `l`, `i` and `1` are one letter.
    """
    folded = unicodedata.normalize("NFKC", name).casefold().translate(_ALIKE)
    return "".join(fold_words(folded)).replace("i", "l")


def _is_name_taken(session: Session, name: str) -> bool:
    """Whether a key, a shop with a key, or a shop of ours bears this name or bore it on a card, however spelled."""
    linked = Shop.id.in_(select(KnownKey.shop_id).where(KnownKey.shop_id.is_not(None)))
    names = [
        *session.scalars(select(KnownKey.name)),
        *session.scalars(select(ReadCard.maker).distinct()),
        *session.scalars(select(Shop.name).where(linked | Shop.is_ours)),
    ]
    return fold_name(name) in map(fold_name, names)


def has_other_key(session: Session, shop_id: int, key: KnownKey) -> bool:
    """Whether a shop, or one counted with it, has another key than this, which nobody accepted as its next."""
    if key.accepted_at is not None:
        return False
    counted = select(Shop.id).where(shops.IS_COUNTED_WITH)
    others = select(KnownKey.id).where(KnownKey.shop_id.in_(counted), KnownKey.id != key.id).limit(1)
    return session.scalar(others, {"shop_ids": [shop_id]}) is not None


def see(session: Session, who: int, public_key: bytes, name: str) -> tuple[KnownKey, bool]:
    """Returns the record of a key, and whether this is its first sight; one that takes another's place is marked."""
    known = find_known(session, public_key)
    if known:
        return known, False
    seen = KnownKey(public_key=public_key, name=name, is_changed=_is_name_taken(session, name), shop=None)
    changes.add_record(session, who, seen, f"{name}: {fingerprint(public_key)}", "on first sight of a card")
    return seen, True


def is_warned_of(key: KnownKey) -> bool:
    """Whether nobody has compared the digits of a key that came in another's place."""
    return key.is_changed and key.accepted_at is None


def require_trusted(key: KnownKey) -> None:
    """Raises ConflictError for a key that came in another's place, until somebody has compared its digits."""
    if is_warned_of(key):
        raise ConflictError(
            f"A shop called {key.name} has another key here. Telephone them, compare the thirty digits, and have an "
            "owner accept the new key first."
        )


def link(session: Session, key: KnownKey, shop: Shop) -> None:
    """Makes a key speak for a shop; raises for a key of another shop, and for a shop of which another key is known."""
    if key.shop_id and shop.id not in _list_counted(session, key.shop_id):
        raise InvalidError(f"The key of this card is of {shops.get_shop(session, key.shop_id).name}: choose that shop.")
    if has_other_key(session, shop.id, key):
        raise ConflictError(
            f"{shop.name} has another key than this card. Telephone them, compare the thirty digits, and have an owner "
            "accept the new key first, or choose another shop."
        )
    key.shop_id = shop.id


def _list_counted(session: Session, shop_id: int) -> Sequence[int]:
    return session.scalars(select(Shop.id).where(shops.IS_COUNTED_WITH), {"shop_ids": [shop_id]}).all()


def unlink_unused(session: Session, public_key: bytes) -> None:
    """Frees a key of its shop when no card with it is taken in any more: the shop was perhaps chosen wrong."""
    key = find_known(session, public_key)
    used = select(ReadCard.id).where(ReadCard.public_key == public_key, ReadCard.outcome == "taken in").limit(1)
    if key and session.scalar(used) is None:
        key.shop_id = None


def accept(session: Session, key_id: int, form: AcceptanceForm) -> KnownKey:
    """Accepts a key after its digits were compared; one that came in another's place counts only then."""
    key = session.get(KnownKey, key_id)
    if key is None:
        raise NotFoundError("There is no such key.")
    changes.require_version(session, key, form.version)
    if key.accepted_at is not None:
        raise ConflictError("This key was accepted already.")
    changes.revise(session, form.who, key, {"accepted_at": now(), "accepted_by_id": form.who}, form.why)
    return key


def list_known(session: Session) -> Sequence[KnownKey]:
    """Returns every key of other shops, by name, the newest first."""
    query = select(KnownKey).options(joinedload(KnownKey.shop), joinedload(KnownKey.accepted_by))
    return session.scalars(query.order_by(func.lower(KnownKey.name), KnownKey.id.desc())).all()
