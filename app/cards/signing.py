"""A shop's Ed25519 key: made, used, checked strictly, and shown so that two people can compare it.

Besides what RFC 8032 section 5.1.7 checks, a key or signature in another than its one encoding is refused, and so is a
key of small order, under which a signature says nothing.
"""

import hashlib

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey

KEY_BYTES, SIGNATURE_BYTES = 32, 64
_PRIME = 2**255 - 19
_ORDER = 2**252 + 27742317777372353535851937790883648493  # RFC 8032 section 5.1: L
_EIGHTH = 0x05FC536D880238B13933C6D305ACDFD5F098EFF289F4C345B027B2C28F95E826
_SMALL = {0, 1, _PRIME - 1, _EIGHTH, _PRIME - _EIGHTH}  # second coordinates of the points whose order divides 8


def public_key_of(private_key: bytes) -> bytes:
    """Returns the public key of a private one, 32 bytes each."""
    return Ed25519PrivateKey.from_private_bytes(private_key).public_key().public_bytes_raw()


def sign(private_key: bytes, message: bytes) -> bytes:
    return Ed25519PrivateKey.from_private_bytes(private_key).sign(message)


def is_signed(public_key: bytes, signature: bytes, message: bytes) -> bool:
    """Whether the signature is this key's own, in its one encoding, of this message."""
    y = int.from_bytes(public_key, "little") & (1 << 255) - 1
    if len(public_key) != KEY_BYTES or len(signature) != SIGNATURE_BYTES or y >= _PRIME or y in _SMALL:
        return False
    if int.from_bytes(signature[32:], "little") >= _ORDER:
        return False
    try:
        Ed25519PublicKey.from_public_bytes(public_key).verify(signature, message)
    except (InvalidSignature, ValueError):
        return False
    return True


def fingerprint(public_key: bytes) -> str:
    """Returns six groups of five digits by which two people compare a key, by eye or over the telephone."""
    digest = hashlib.sha256(b"spanbook key\0" + public_key).digest()
    digits = f"{int.from_bytes(digest, 'big') % 10**30:030d}"
    return " ".join(digits[at : at + 5] for at in range(0, 30, 5))
