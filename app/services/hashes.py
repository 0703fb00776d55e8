"""Secrets are stored as hashes only: passwords and PINs by Argon2id, random tokens by SHA-256."""

import hashlib
import secrets
from threading import Semaphore

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError

hasher = PasswordHasher()  # Argon2id with the library's parameters (RFC 9106, low-memory profile)
_hashing = Semaphore(2)  # each takes 64 MiB and a core


def digest(token: str) -> str:
    """Returns the hash to store for a random token: with 256 random bits a plain SHA-256 is enough."""
    return hashlib.sha256(token.encode()).hexdigest()


def hash_secret(secret: str) -> str:
    with _hashing:
        return hasher.hash(secret)


_nobody: list[str] = []  # a hash to check for an unknown name, so that it takes as long as a known one


def is_right(stored: str, secret: str) -> bool:
    if not _nobody:
        _nobody.append(hash_secret(secrets.token_urlsafe()))
    try:
        with _hashing:
            return hasher.verify(stored or _nobody[0], secret) and bool(stored)
    except (VerificationError, InvalidHashError):
        return False
