"""Forms of cards that travel, and of the keys that sign them."""

from typing import Annotated, Literal

from pydantic import BeforeValidator, Field

from app.closed_sets import Hand
from app.schemas.forms import Form, OptionalId, SignedForm

Why = Annotated[str, Field(min_length=1, max_length=400)]


class ReplacementForm(SignedForm):
    """Replaces the key that a shop signs with."""

    why: Why


class PaperForm(SignedForm):
    """Brings a shop's key back from paper."""

    paper: Annotated[str, Field(min_length=1, max_length=400)]


class AcceptanceForm(SignedForm):
    """Accepts another shop's new key, whose digits somebody compared with that shop."""

    why: Why


class IssueForm(SignedForm):
    """Issues a bowler's card for one hand."""

    hand: Hand


class CardText(Form):
    """A card as text, pasted or read off a file or a picture."""

    text: Annotated[str, Field(max_length=4000)] = ""


class TakingForm(CardText, SignedForm):
    """Takes a card in: for a new bowler or one of ours, with what each of its shops and hardware is here.

    `shops` and `hardware` are ids in the order of the card's own lists, None for a new record.
    """

    bowler: Annotated[
        Literal["new"] | int, BeforeValidator(lambda value: int(value) if str(value).isdecimal() else value)
    ]
    takes_fit: bool = False
    takes_inners: bool = False
    takes_depths: bool = False
    is_compared: bool = False
    shops: tuple[OptionalId, ...] = ()
    hardware: tuple[OptionalId, ...] = ()


class CardTakingBackForm(SignedForm):
    """Takes back what a card brought."""

    why: Why
