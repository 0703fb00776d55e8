"""Forms of cards that travel, and of the keys that sign them."""

from collections.abc import Mapping
from typing import Annotated, Self

from pydantic import Field

from app.closed_sets import Hand
from app.schemas.forms import Form, Id, OptionalId, SignedForm, read_id
from app.schemas.identities import Secret

LEFT_OUT = "left out"
Why = Annotated[str, Field(min_length=1, max_length=400)]


class ReplacementForm(SignedForm):
    """Replaces the key that a shop signs with."""

    why: Why


class ShowingForm(SignedForm):
    """Shows the key that a shop signs with, once, to an owner who types the password again."""

    present: Secret


class PaperForm(SignedForm):
    """Brings a shop's key back from paper."""

    paper: Annotated[str, Field(min_length=1, max_length=400)]


class AcceptanceForm(SignedForm):
    """Accepts another shop's new key, whose digits somebody compared with that shop."""

    why: Why


class IssueForm(SignedForm):
    """Issues a bowler's card for one hand, without the inners whose fields `leave_out-ID` are ticked.

    `is_unverified_known`: although its fit was typed from a card with which nobody has compared it.
    """

    hand: Hand
    is_unverified_known: bool = False
    left_out: tuple[int, ...] = ()

    @classmethod
    def read(cls, posted: Mapping[str, object], **context: object) -> Self:
        ticked = (read_id(name.removeprefix("leave_out-")) for name in posted if name.startswith("leave_out-"))
        return super().read({**posted, "left_out": tuple(filter(None, ticked))}, **context)


class CardText(Form):
    """A card as text, pasted or read off a file or a picture."""

    text: Annotated[str, Field(max_length=4000)] = ""


class TakingForm(CardText, SignedForm):
    """Takes a card in: for a new bowler (`bowler_id` 0) or one of ours, with what its shops and hardware are here.

    `shops` and `hardware` are ids in the order of the card's own lists, None for a new record; a place that is missing
    was not chosen. `left_out` are places of hardware that is not taken, posted as LEFT_OUT.
    """

    bowler_id: Id
    takes_fit: bool = False
    takes_inners: bool = False
    takes_depths: bool = False
    takes_again: bool = False
    shops: Annotated[dict[int, OptionalId], Field(default_factory=dict)]
    hardware: Annotated[dict[int, OptionalId], Field(default_factory=dict)]
    left_out: frozenset[int] = frozenset()

    @classmethod
    def read(cls, posted: Mapping[str, object], **context: object) -> Self:
        places = {kind: _read_places(posted, kind) for kind in ("shop", "hardware")}
        left_out = frozenset(place for place, chosen in places["hardware"].items() if chosen == LEFT_OUT)
        hardware = {place: chosen for place, chosen in places["hardware"].items() if place not in left_out}
        return super().read({**posted, "shops": places["shop"], "hardware": hardware, "left_out": left_out}, **context)


def _read_places(posted: Mapping[str, object], kind: str) -> dict[int, object]:
    named = {
        name.removeprefix(f"{kind}-"): value
        for name, value in posted.items()
        if name.startswith(f"{kind}-") and value != ""
    }
    return {int(place): value for place, value in named.items() if place.isdecimal() and len(place) < 3}


class CardTakingBackForm(SignedForm):
    """Takes back what a card brought."""

    why: Why
