"""Other shops' keys: noted on first sight, remembered once a card was taken in or an owner accepted the key.

Until then each reading says that the shop is unknown; where another key claims its name, nothing is taken in.
"""

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


def find_bearers(session: Session, name: str, but: bytes) -> tuple[list[KnownKey], bool]:
    """Returns who else bears a name or bore it on a card, however spelled: (other shops' keys, whether we do)."""
    folded = fold_name(name)
    names = [
        *session.execute(select(KnownKey.public_key, KnownKey.name)),
        *session.execute(select(KnownKey.public_key, Shop.name).join(Shop, Shop.id == KnownKey.shop_id)),
        *session.execute(select(ReadCard.public_key, ReadCard.maker).distinct()),
    ]
    bearing = {key for key, borne in names if key != but and fold_name(borne) == folded}
    keys = session.scalars(select(KnownKey).where(KnownKey.public_key.in_(bearing)).order_by(KnownKey.id)).all()
    ours = session.scalars(select(Shop.name).where(Shop.is_ours))
    return list(keys), len(keys) < len(bearing) or folded in map(fold_name, ours)


def is_remembered(session: Session, key: KnownKey) -> bool:
    """Whether an owner accepted a key, or a card of it is taken in; one that was only read proves nothing."""
    taken = select(ReadCard.id).where(ReadCard.public_key == key.public_key, ReadCard.outcome == "taken in").limit(1)
    return key.accepted_at is not None or session.scalar(taken) is not None


def has_other_key(session: Session, shop_id: int, key: KnownKey) -> bool:
    """Whether a shop, or one counted with it, has another key than this, which nobody accepted as its next."""
    if key.accepted_at is not None:
        return False
    counted = select(Shop.id).where(shops.IS_COUNTED_WITH)
    others = select(KnownKey.id).where(KnownKey.shop_id.in_(counted), KnownKey.id != key.id).limit(1)
    return session.scalar(others, {"shop_ids": [shop_id]}) is not None


def see(session: Session, who: int, public_key: bytes, name: str) -> KnownKey:
    """Returns the record of a key, noted on first sight; where others claim its name, each not remembered is marked."""
    key = find_known(session, public_key)
    if key and is_remembered(session, key):
        return key
    others, is_ours = find_bearers(session, name, public_key)
    is_claimed = bool(others) or is_ours
    if key is None:
        key = KnownKey(public_key=public_key, name=name, is_changed=is_claimed, shop=None)
        changes.add_record(session, who, key, f"{name}: {fingerprint(public_key)}", "on first sight of a card")
    for claiming in (key, *others) if is_claimed else ():
        claiming.is_changed = claiming.is_changed or not is_remembered(session, claiming)
    return key


def is_warned_of(key: KnownKey) -> bool:
    """Whether nobody has compared the digits of a key whose name another key claims."""
    return key.is_changed and key.accepted_at is None


def require_trusted(key: KnownKey) -> None:
    """Raises ConflictError for a key whose name another claims, until somebody has compared its digits."""
    if is_warned_of(key):
        raise ConflictError(
            f"More than one key claims the name {key.name} here. Telephone them, compare the thirty digits, and have "
            "an owner accept this key first."
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
