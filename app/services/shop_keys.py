"""The keys with which our shops sign cards: made, kept on paper, replaced with history, and never exported."""

import hashlib
import re
import secrets
from collections.abc import Sequence

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.cards.signing import KEY_BYTES, fingerprint, public_key_of
from app.errors import ConflictError, InvalidError
from app.models import Change, Installation, Shop, ShopKey, now
from app.schemas.cards import PaperForm, ReplacementForm, ShowingForm
from app.services import accounts, changes

_GROUP = 4
_FIELD = "key"  # of its lines of history


def find_installation(session: Session) -> bytes:
    """Returns the random name of this installation, empty before it has one."""
    return session.scalar(select(Installation.name)) or b""


def name_installation(session: Session) -> bytes:
    """Returns the random name of this installation, which is given when it is first needed."""
    known = find_installation(session)
    if known:
        return known
    named = Installation(name=secrets.token_bytes(16))
    session.add(named)
    session.flush()
    return named.name


def find_key(session: Session, shop: Shop) -> ShopKey | None:
    """Returns the key that a shop signs with, None before it has one."""
    return session.scalar(select(ShopKey).where(ShopKey.shop_id == shop.id, ShopKey.replaced_at.is_(None)))


def get_key(session: Session, who: int | None, shop: Shop) -> ShopKey:
    """Returns the key that a shop signs with; it is made for a shop that never had one. Raises ConflictError."""
    known = find_key(session, shop)
    if known is None and find_lost(session, shop):
        raise ConflictError(
            "The key that signs this shop's cards did not come with the copy that was restored. An owner brings it "
            "back from its paper, or replaces it, under People, Keys of cards."
        )
    return known or _add(session, who, shop, secrets.token_bytes(KEY_BYTES), "made")


def find_lost(session: Session, shop: Shop) -> str:
    """Returns the digits of the key that a shop signed with last where it is not here: no export holds one."""
    if find_key(session, shop):
        return ""
    own = (Change.noun == "shop", Change.noun_id == shop.id, Change.field == _FIELD)
    return session.scalar(select(Change.new).where(*own).order_by(Change.id.desc()).limit(1)) or ""


def _add(session: Session, who: int | None, shop: Shop, private_key: bytes, why: str) -> ShopKey:
    name_installation(session)
    added = ShopKey(shop_id=shop.id, private_key=private_key, public_key=public_key_of(private_key))
    session.add(added)
    session.flush()
    changes.note(session, who, shop, changes.Entry(_FIELD, "", fingerprint(added.public_key), why), is_addition=True)
    return added


def list_keys(session: Session, shop: Shop) -> Sequence[ShopKey]:
    """Returns every key that a shop ever signed with here, the newest first."""
    return session.scalars(select(ShopKey).where(ShopKey.shop_id == shop.id).order_by(ShopKey.id.desc())).all()


def is_ours(session: Session, public_key: bytes) -> bool:
    """Whether a key is, or was, one of our chain's."""
    return session.scalar(select(ShopKey.id).where(ShopKey.public_key == public_key)) is not None


def find_shop_id(session: Session, public_key: bytes) -> int | None:
    """Returns which shop of our chain has, or had, a key."""
    return session.scalar(select(ShopKey.shop_id).where(ShopKey.public_key == public_key))


def replace(session: Session, shop: Shop, form: ReplacementForm) -> ShopKey:
    """Replaces a shop's key by a new one; cards that the old one signed stay good, and other shops will be warned."""
    if not find_lost(session, shop):
        old = get_key(session, form.who, shop)
        changes.require_version(session, old, form.version)
        old.replaced_at = now()
    return _add(session, form.who, shop, secrets.token_bytes(KEY_BYTES), form.why)


def bring_back(session: Session, shop: Shop, form: PaperForm) -> ShopKey:
    """Makes the key on an owner's paper the one that signs; raises InvalidError for a slip of the pen."""
    private_key = read_paper(form.paper)
    public_key = public_key_of(private_key)
    signing, known = find_key(session, shop), session.scalar(select(ShopKey).where(ShopKey.public_key == public_key))
    if known and (known is signing or known.shop_id != shop.id):
        raise InvalidError.at("paper", "This key is here already.")
    if signing:
        signing.replaced_at = now()
        session.flush()
    if known is None:
        return _add(session, form.who, shop, private_key, "from paper")
    known.replaced_at = None
    changes.note(session, form.who, shop, changes.Entry(_FIELD, "", fingerprint(public_key), "from paper"))
    return known


def show(session: Session, shop: Shop, form: ShowingForm, address: str) -> ShopKey:
    """Returns the key to be put on paper, for an owner's password; history says that it was shown, not what."""
    shown = find_key(session, shop)
    if shown is None:
        raise ConflictError("There is no key yet: it is made when the first card is issued.")
    accounts.require_present(session, accounts.get_person(session, form.who), form.present, address)
    entry = changes.Entry("key shown for paper", "", fingerprint(shown.public_key))
    changes.note(session, form.who, shop, entry, is_addition=True)
    return shown


# Paper ----------------------------------------------------------------------------------------------------------------


def write_paper(private_key: bytes) -> list[str]:
    """Returns a private key as groups to copy by hand, the last of which checks the others."""
    text = (private_key + _check_of(private_key)).hex().upper()
    return [text[at : at + _GROUP] for at in range(0, len(text), _GROUP)]


def read_paper(text: str) -> bytes:
    """Returns the private key on a paper; raises InvalidError."""
    digits = re.sub(r"[\s-]", "", text)
    if not re.fullmatch(rf"[0-9A-Fa-f]{{{2 * KEY_BYTES + _GROUP}}}", digits):
        raise InvalidError.at("paper", "A key has 17 groups of 4, each of the digits 0 to 9 and the letters A to F.")
    data = bytes.fromhex(digits)
    if _check_of(data[:KEY_BYTES]) != data[KEY_BYTES:]:
        raise InvalidError.at("paper", "A group was copied wrong. Compare them with the paper, one by one.")
    return data[:KEY_BYTES]


def _check_of(private_key: bytes) -> bytes:
    return hashlib.sha256(b"spanbook paper\0" + private_key).digest()[: _GROUP // 2]
