"""Every single bit of a card counts, whatever else is put right beside it."""

import random
import zlib
from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.cards.contents import Card
from app.cards.envelope import VERSION, open_card, seal_card
from app.cards.errors import CardError, ChangedError, DamagedError, NewerError, TooLargeError
from app.cards.signing import public_key_of, sign
from tests.cards.made import PRIVATE_KEY, make_card, make_random


def _checked(data: bytes) -> bytes:
    """Bytes with the checksum that somebody puts right after changing them."""
    return data + zlib.crc32(data).to_bytes(4, "big")


def _list_cards() -> list[Card]:
    small = make_card(fit=None, inners=(), bores=(), depths=(), hardware=())
    return [make_card(), small, *(make_random(random.Random(seed)) for seed in range(20))]


def _list_sealed() -> list[bytes]:
    found: list[bytes] = []
    for card in _list_cards():
        try:
            found.append(seal_card(card, PRIVATE_KEY))
        except TooLargeError:
            continue
    return found[:5]


@pytest.mark.parametrize("sealed", _list_sealed(), ids=len)
def test_every_single_bit_counts(sealed: bytes) -> None:
    assert open_card(sealed).public_key == public_key_of(PRIVATE_KEY)
    for bit in range(8 * len(sealed)):
        other = bytearray(sealed)
        other[bit // 8] ^= 1 << bit % 8
        with pytest.raises(DamagedError):
            open_card(bytes(other))


@pytest.mark.parametrize("sealed", _list_sealed(), ids=len)
def test_every_single_bit_counts_with_the_checksum_put_right(sealed: bytes) -> None:
    body = sealed[:-4]
    for bit in range(8 * len(body)):
        other = bytearray(body)
        other[bit // 8] ^= 1 << bit % 8
        with pytest.raises(ChangedError if bit >= 8 else CardError):
            open_card(_checked(bytes(other)))


def test_a_card_for_a_bowler_with_two_inners_is_small(tell: Callable[[str], None]) -> None:
    size = len(seal_card(make_card(), PRIVATE_KEY))
    tell(f"a card with a fit, hardware, two inners in two bores and a depth takes {size} bytes")
    assert size <= 420


def test_the_same_card_has_the_same_bytes_and_another_revision_others() -> None:
    first, again, next_one = (seal_card(make_card(revision=n), PRIVATE_KEY) for n in (3, 3, 4))
    assert first == again
    assert open_card(first).digest == open_card(again).digest != open_card(next_one).digest


def test_a_newer_format_is_told_from_damage_and_change() -> None:
    sealed = seal_card(make_card(), PRIVATE_KEY)
    with pytest.raises(NewerError):
        open_card(_checked(bytes([VERSION + 1]) + sealed[1:-4]))
    with pytest.raises(DamagedError):
        open_card(_checked(bytes([0]) + sealed[1:-4]))


def test_another_shops_key_does_not_take_a_card_over() -> None:
    sealed, own = seal_card(make_card(), PRIVATE_KEY), public_key_of(bytes(32))
    with pytest.raises(ChangedError):
        open_card(_checked(sealed[:1] + own + sealed[33:-4]))


def test_a_signature_under_something_else_than_a_card_is_none() -> None:
    contents, head = seal_card(make_card(), PRIVATE_KEY)[97:-4], bytes([1]) + public_key_of(PRIVATE_KEY)
    for message in (contents, head + contents, b"spanbook key\0" + head + contents):
        with pytest.raises(ChangedError):
            open_card(_checked(head + sign(PRIVATE_KEY, message) + contents))


def test_a_signature_does_not_make_nonsense_a_card() -> None:
    head = bytes([1]) + public_key_of(PRIVATE_KEY)
    for contents in (b"\xa0", b"\x81" * 300, b"\xff", b"\x9b" + b"\xff" * 8, bytes(399)):
        signature = sign(PRIVATE_KEY, b"spanbook card\0" + head + contents)
        with pytest.raises(DamagedError):
            open_card(_checked(head + signature + contents))


def test_too_much_is_refused_before_it_is_read() -> None:
    with pytest.raises(TooLargeError):
        open_card(bytes(10 * 2**20))
    with pytest.raises(TooLargeError):
        seal_card(make_card(inners=make_card().inners * 4), PRIVATE_KEY)


@given(st.binary(max_size=600))
def test_any_bytes_are_refused_with_an_error_of_a_card(data: bytes) -> None:
    with pytest.raises(CardError):
        open_card(data)
    with pytest.raises(CardError):
        open_card(_checked(b"\1" + data))
