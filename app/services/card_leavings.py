"""A card without a piece of its hardware, which our records cannot hold, and without what hangs on that."""

from collections.abc import Collection
from dataclasses import replace

from app.cards.contents import Card


def list_hanging(card: Card, place: int) -> list[str]:
    """Lists in words what is not taken where this hardware is left out."""
    inners = [
        f"inner {one.label or n}"
        for n, one in enumerate(card.inners, 1)
        if place in {one.hardware, card.bores[one.bore].hardware}
    ]
    depths = [f"what is said of {card.shops[one.shop]}'s depths" for one in card.depths if one.hardware == place]
    named = [card.fit.hardware, *(hole.hardware for hole in card.fit.holes.values())] if card.fit else []
    return [*inners, *dict.fromkeys(depths), *(["the hardware of the fit"] if place in named else [])]


def leave_out(card: Card, places: Collection[int]) -> Card:
    """Returns a card without the inners and depths that need this hardware; which the fit has is unknown here."""
    needed = [one for one in card.inners if not {one.hardware, card.bores[one.bore].hardware} & set(places)]
    return replace(
        card,
        inners=tuple(needed),
        depths=tuple(one for one in card.depths if one.hardware not in places),
    )
