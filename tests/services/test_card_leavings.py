"""What hangs on a card's hardware is named, and left out with it; the rest stays as it was."""

from app.services.card_leavings import leave_out, list_hanging
from tests.cards.made import make_card


def test_what_hangs_on_each_hardware_is_named() -> None:
    card = make_card()
    assert list_hanging(card, 0) == [
        "inner dry days", "inner humid", "what is said of Harbour Lane's depths", "the hardware of the fit",
    ]  # fmt: skip
    assert list_hanging(card, 1) == ["the hardware of the fit"]


def test_a_card_is_left_without_it_and_else_as_it_was() -> None:
    card = make_card()
    without = leave_out(card, {1})
    assert without == card
    bare = leave_out(card, {0})
    assert (bare.fit, bare.inners, bare.depths) == (card.fit, (), ())
    assert leave_out(card, ()) == card
