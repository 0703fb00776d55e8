"""The travelling card on the prints of a fit: its code, and the same numbers in words beside it."""

from dataclasses import dataclass

from app.cards.codes import make_code, to_svg
from app.cards.contents import Card
from app.cards.envelope import open_card
from app.cards.texts import to_text
from app.cards.words import Line, list_short_depths, list_short_inners
from app.models import IssuedCard
from app.pages.pictures import GripPicture, draw_grip
from app.pages.render import Page
from app.services import card_grips, card_issues


def draw_code(issued: IssuedCard) -> str:
    """Returns the code of an issued card as SVG of its printed size."""
    return to_svg(make_code(to_text(issued.data)))


def draw_card(card: Card) -> GripPicture | None:
    """Returns the grip of a card as a picture, from the card's own numbers; None where it cannot be worked out."""
    solved = card_grips.solve_grip(card)
    place = card.fit.hardware if card.fit else None
    return draw_grip(solved, None if place is None else card.hardware[place].notch_deg) if solved else None


_BESIDE_CODE, _ROWS = 25, 16  # letters in a row beside the largest code, and rows: measured on the printed page


@dataclass(frozen=True)
class Travelling:
    """An issued card on paper: its code as SVG, and its inners and depths in few words.

    A wallet card is printed on both sides: `is_two` where its inners need a second one.
    """

    card: Card
    code: str
    inners: list[Line]
    depths: list[Line]

    @property
    def is_two(self) -> bool:
        whose = f"{self.card.bowler}, card {self.card.revision} of 2000-01-01 by {self.card.maker}."
        told = [whose, *(f"{label}: {words}" for label, words in self.inners)]
        return sum(-(-len(words) // _BESIDE_CODE) for words in told) > _ROWS


def load_travelling(page: Page, fit_id: int, bowler_id: int, hand: str) -> Travelling | None:
    """Returns the issued card on which a fit stands, None without one."""
    issued = card_issues.find_of_fit(page.session, fit_id, bowler_id, hand)
    if issued is None:
        return None
    return show_travelling(issued)


def show_travelling(issued: IssuedCard) -> Travelling:
    card = open_card(issued.data).card
    return Travelling(card, draw_code(issued), list_short_inners(card), list_short_depths(card))
