"""A card as deterministic CBOR and back; what its parts say of each other is checked on both ways."""

from collections.abc import Iterator

from app.cards import cbor
from app.cards.contents import Card
from app.cards.errors import DamagedError, FurtherError, NotCarriedError
from app.cards.kinds import FurtherKind, OutOfKind
from app.cards.records import read_record, write_record


def pack(card: Card) -> bytes:
    """Returns a card as CBOR; raises NotCarriedError for what no card can hold."""
    try:
        packed = cbor.encode(write_record(card))
    except OutOfKind as error:
        raise NotCarriedError(f"The card cannot hold this: {error}.") from None
    if wrong := next(_list_wrong(card), ""):
        raise NotCarriedError(f"The card does not fit together: {wrong}.")
    return packed


def unpack(data: bytes) -> Card:
    """Returns the card of CBOR that `pack` would write; raises DamagedError for any other."""
    try:
        card = read_record(Card, cbor.decode(data))
        is_as_written = cbor.encode(write_record(card)) == data
    except FurtherKind as error:
        raise FurtherError(f"The card holds what this program does not know: {error}.") from None
    except OutOfKind as error:
        raise DamagedError(f"The card holds what no card can: {error}.") from None
    if not is_as_written:
        raise DamagedError("The card holds a number that is written otherwise than a card writes it.")
    if wrong := next(_list_wrong(card), ""):
        raise DamagedError(f"The card does not fit together: {wrong}.")
    return card


def _list_wrong(card: Card) -> Iterator[str]:
    """Yields in words what the parts of a card say of each other that cannot be."""
    if not card.shops or not all(card.shops) or not card.bowler:
        yield "it names no shop or no bowler"
    if card.fit and not card.fit.has_its_holes:
        yield "its fit has other holes than its grip"
    known = {"hardware": len(card.hardware), "bore": len(card.bores), "shop": len(card.shops)}
    for what, place in _list_places(card):
        if place is not None and place >= known[what]:
            yield "something stands in it that it does not hold"
    if any(len(inner.heights_in) not in {0, 4} for inner in card.inners):
        yield "a rim has four heights or none"
    if any(depth.balls > depth.n for depth in card.depths):
        yield "more balls than observations"
    if any(one.is_pitch_unsaid and one.forward_in is None for one in card.bores):
        yield "a pitch that is unknown counts as straight"


def _list_places(card: Card) -> Iterator[tuple[str, int | None]]:
    """Yields (list, place in it) of everything that refers to another part of the card."""
    if card.fit:
        yield "hardware", card.fit.hardware
        for hole in card.fit.holes.values():
            yield "hardware", hole.hardware
    for bore in card.bores:
        yield "hardware", bore.hardware
        yield "shop", bore.shop
    for inner in card.inners:
        yield "hardware", inner.hardware
        yield "bore", inner.bore
    for depth in card.depths:
        yield "hardware", depth.hardware
        yield "shop", depth.shop
