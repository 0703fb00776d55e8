"""Which sizes on a card can be of a bore at all: what cannot is told and not taken, and the rest of the card is.

A card's format holds any size; these are the ranges that our own forms take. A doubt of 0 is taken: the calculation
floors it, so that nothing counts as exact.
"""

from collections.abc import Iterator
from dataclasses import replace

from app.cards.contents import Bore, Card, Depth
from app.measures.reading import DEPTH, TOLERANCE


def is_plausible(depth: Depth) -> bool:
    """Whether a shop's depth, its doubt and its scatter can be those of bores."""
    return DEPTH.low <= depth.mean_in <= DEPTH.high and max(depth.u_in, depth.scatter_in) <= TOLERANCE.high


def hold_bore(bore: Bore) -> Bore:
    """Returns a bore without a depth that no bore has, and without the doubt of one that no reading has."""
    if bore.depth_in is None or not DEPTH.low <= bore.depth_in <= DEPTH.high:
        return replace(bore, depth_in=None, depth_u_in=None, datum="unknown")
    if bore.depth_u_in is not None and bore.depth_u_in > TOLERANCE.high:
        return replace(bore, depth_in=None, depth_u_in=None, datum="unknown")
    return bore


def list_implausible(card: Card) -> list[str]:
    """Lists in words the depths on a card that cannot be, and are not taken."""
    return list(_list_implausible(card))


def _list_implausible(card: Card) -> Iterator[str]:
    for inner in card.inners:
        bore = card.bores[inner.bore]
        if bore.depth_in is not None and hold_bore(bore).depth_in is None:
            yield f"the depth of the bore of inner {inner.label or 'without a name'}"
    for depth in card.depths:
        if depth.shop == 0 and not is_plausible(depth):
            yield f"what {card.maker} says of its depths for hardware {depth.hardware + 1}"
