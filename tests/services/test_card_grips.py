"""A card's drawing is of the same numbers: its grip is the one that the fit solves to where the card was made."""

from dataclasses import replace
from fractions import Fraction

from sqlalchemy.orm import Session

from app.models import Bowler
from app.services import card_contents, card_grips, fits, grips
from tests.cards.made import make_card, make_fit
from tests.conftest import not_none
from tests.services.cards import SERIES, open_made, take


def test_it_is_the_grip_that_the_maker_solved(session: Session) -> None:
    for hand in ("right", "left"):
        bowler = session.get_one(Bowler, 1)
        card = card_contents.build_card(session, bowler, hand, SERIES, not_none(bowler.created_at).date())
        of = card_contents.find_fit_in_force(session, 1, hand)
        own = grips.solve(of, of.system) if of and grips.can_solve(of) else None
        assert (card_grips.solve_grip(card) is None) == (own is None)
        if own:
            assert card_grips.solve_grip(card) == own


def test_it_is_the_grip_that_the_reader_solves(session: Session, who: str) -> None:
    fit = fits.get_fit(session, take(session, who, open_made()).made["fit"][0])
    assert card_grips.solve_grip(make_card()) == grips.solve(fit, fit.system)


def test_of_what_is_not_known_nothing_is_drawn_and_nothing_is_stored(session: Session) -> None:
    made = make_fit()
    off = replace(made, thumb=replace(not_none(made.thumb), offset_in=None))
    for fit in (None, replace(made, ring_span_in=None), replace(made, span_edges="unknown"), off):
        assert card_grips.solve_grip(make_card(fit=fit)) is None
    assert card_grips.solve_grip(make_card(fit=replace(made, middle_span_in=Fraction(8)))) is None
    assert not session.new
