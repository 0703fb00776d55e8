"""Counts what a shop knows of a depth once, however many cards say it and in whichever order they come."""

import hashlib
from collections.abc import Iterable

from app.cards.cbor import encode
from app.cards.contents import Depth
from app.cards.records import write_record


def evidence_id(installation: bytes, shop: str, hardware: str) -> bytes:
    """Returns the name of an installation's observations of one shop's bores for one hardware, as they grow.

    `installation` is random and stays when a key is replaced; `shop` and `hardware` name rows that stay, too.
    """
    parts = b"".join(len(part).to_bytes(4, "big") + part for part in (installation, shop.encode(), hardware.encode()))
    return hashlib.sha256(b"spanbook evidence\0" + parts).digest()[:8]


def keep_latest(told: Iterable[Depth]) -> dict[bytes, Depth]:
    """Returns by its evidence the latest of each estimate; of one day the one with more observations."""
    latest: dict[bytes, Depth] = {}
    for depth in told:
        before = latest.get(depth.evidence)
        if before is None or _order(depth) > _order(before):
            latest[depth.evidence] = depth
    return latest


def _order(depth: Depth) -> tuple[int, int, bytes]:
    """By day, then by observations; the bytes only make the outcome the same in any order."""
    return depth.as_of.toordinal(), depth.n, encode(write_record(depth))
