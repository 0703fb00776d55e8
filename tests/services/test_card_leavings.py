"""What hangs on a card's hardware is named, and left out with it; the rest stays as it was."""

from app.services.card_leavings import leave_out, list_hanging
from tests.cards.made import make_card
from tests.conftest import not_none


def test_what_hangs_on_each_hardware_is_named() -> None:
    card = make_card()
    assert list_hanging(card, 0) == [
        "inner dry days", "inner humid", "what is said of Harbour Lane's depths", "the hardware of the fit",
    ]  # fmt: skip
    assert list_hanging(card, 1) == ["the hardware of the fit"]


def test_a_card_is_left_without_it_and_else_as_it_was() -> None:
    card = make_card()
    without = leave_out(card, {1})
    fit = not_none(without.fit)
    assert (fit.hardware, not_none(fit.middle).hardware, not_none(fit.ring).hardware) == (0, None, None)
    assert (without.inners, without.depths) == (card.inners, card.depths)
    bare = leave_out(card, {0})
    assert (not_none(bare.fit).hardware, not_none(not_none(bare.fit).ring).hardware) == (None, 1)
    assert (bare.inners, bare.depths) == ((), ())
    assert leave_out(card, ()) == card
