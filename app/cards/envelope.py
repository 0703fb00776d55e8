"""A card's bytes: version, public key, signature, contents and checksum; nothing unsigned is ever read.

The checksum tells damage from change: bytes that were misread fail it, a card that somebody altered has it right and
its signature wrong.
"""

import hashlib
import zlib
from dataclasses import dataclass

from app.cards import signing
from app.cards.contents import Card
from app.cards.errors import ChangedError, DamagedError, FurtherError, NewerError, NoCardError, TooLargeError
from app.cards.packing import pack, unpack

VERSION = 1
MOST_BYTES = 500  # what one code of version 15 holds
_CONTEXT = b"spanbook card\0"  # so that the key's signature under anything else is none of a card
_KEY = 1 + signing.KEY_BYTES
_HEAD = _KEY + signing.SIGNATURE_BYTES
_CHECKSUM = 4


@dataclass(frozen=True)
class Opened:
    """A card that was read whole, the key that signed it, its bytes, and their own name, by which it is known again."""

    card: Card
    public_key: bytes
    digest: bytes
    data: bytes = b""


def seal_card(card: Card, private_key: bytes) -> bytes:
    """Returns the bytes of a card signed with a shop's key; raises NotCarriedError or TooLargeError."""
    version, key = bytes([VERSION]), signing.public_key_of(private_key)
    contents = pack(card)
    signed = version + key + signing.sign(private_key, _CONTEXT + version + key + contents) + contents
    if len(signed) + _CHECKSUM > MOST_BYTES:
        raise TooLargeError("This is more than one code can hold. Leave out an inner, or what is not needed.")
    return signed + _checksum(signed)


def open_card(data: bytes) -> Opened:
    """Returns a card whose signature holds; raises TooLargeError, NewerError, DamagedError or ChangedError."""
    if len(data) > MOST_BYTES:
        raise TooLargeError("This is longer than a card can be.")
    if len(data) <= _HEAD + _CHECKSUM or _checksum(data[:-_CHECKSUM]) != data[-_CHECKSUM:]:
        raise DamagedError("The card was not read whole. Try again, with a sharper picture or the whole text.")
    if data[0] > VERSION:
        raise NewerError("This card is written in a newer format. Bring this program up to date, and read it again.")
    if data[0] < VERSION:
        raise NoCardError("This is another file or text.")
    key, signature, contents = data[1:_KEY], data[_KEY:_HEAD], data[_HEAD:-_CHECKSUM]
    if not signing.is_signed(key, signature, _CONTEXT + data[:_KEY] + contents):
        raise ChangedError("The signature is wrong: this card was changed after the shop made it. Do not use it.")
    try:
        card = unpack(contents)
    except FurtherError as error:
        raise NewerError(
            f"Its signature is right, but a newer or another program wrote it. {error.message} "
            "Bring this program up to date, and read it again."
        ) from None
    return Opened(card, key, hashlib.sha256(data).digest(), data)


def _checksum(data: bytes) -> bytes:
    return zlib.crc32(data).to_bytes(_CHECKSUM, "big")
