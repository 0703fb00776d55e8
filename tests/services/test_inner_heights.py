"""Heights of an inner's rim travel with it, exactly, and say where they were measured."""

from dataclasses import replace
from fractions import Fraction

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.cards.envelope import open_card, seal_card
from app.models import Bowler, Change, Inner
from app.schemas.cards import IssueForm
from app.schemas.inners import LooseForm
from app.services import card_contents, card_issues, inner_heights, loose_inners
from tests.cards.made import INNER, PRIVATE_KEY, SECOND_INNER, make_card
from tests.conftest import not_none
from tests.services.cards import copy_inner, open_made, take

F = Fraction
IN_64THS = tuple(F(n, 64) for n in (176, 174, 172, 174))
IN_THOUSANDTHS = tuple(F(n, 1000) for n in (2751, 2718, 2687, 2721))


def measure(session: Session, who: str, inner_id: int) -> None:
    typed = dict(zip(inner_heights.PLACES, ("2.750", "2.719", "2.688", "2.719"), strict=True))
    loose_inners.save_loose(session, inner_id, LooseForm.read({"who": who} | typed))
    session.flush()


def test_heights_measured_here_stand_on_the_card_as_typed(session: Session, who: str) -> None:
    inner = not_none(session.scalar(select(Inner).where(Inner.bowler_id == 1)))
    measure(session, who, inner.id)
    bowler = session.get_one(Bowler, 1)
    (told,) = card_contents.build_card(session, bowler, "right", bytes(6), not_none(bowler.created_at).date()).inners
    assert told.heights_in == (F("2.750"), F("2.719"), F("2.688"), F("2.719"))
    assert open_card(seal_card(make_card(inners=(replace(INNER, heights_in=told.heights_in),)), PRIVATE_KEY))


def test_heights_of_a_card_are_kept_as_measured_elsewhere_and_travel_on(session: Session, who: str) -> None:
    opened = open_made(inners=(replace(INNER, heights_in=IN_THOUSANDTHS), SECOND_INNER))
    taken = take(session, who, opened)
    measured, other = taken.made["inner"]
    found = inner_heights.find_heights(session, [measured, other])
    assert found == {measured: inner_heights.RimHeights(IN_THOUSANDTHS, found[measured].note)}
    assert found[measured].note == "measured elsewhere: from the card of Harbour Lane"
    line = session.scalars(select(Change).where(Change.field == "rim above its seat")).one()
    assert (line.noun, line.noun_id, line.why) == ("inner", measured, found[measured].note)
    bowler = session.get_one(Bowler, taken.bowler_id)
    again = card_contents.build_card(session, bowler, "right", opened.card.series, opened.card.made_on)
    assert [inner.heights_in for inner in again.inners] == [IN_THOUSANDTHS, ()]


@pytest.mark.parametrize(("heights", "each"), [(IN_64THS, 10), (IN_THOUSANDTHS, 18)])
def test_what_heights_take_is_what_the_page_of_the_format_says(heights: tuple[Fraction, ...], each: int) -> None:
    inners = (INNER, SECOND_INNER)
    sizes = [
        len(seal_card(make_card(inners=tuple(replace(one, heights_in=own) for one in inners)), PRIVATE_KEY))
        for own in ((), heights)
    ]
    assert sizes[1] - sizes[0] == 2 * each


def test_heights_are_left_out_first_where_no_code_could_hold_them(session: Session, who: str) -> None:
    """Four inners of Anna Johnson, all measured, are more than one code holds; without their heights they fit."""
    first = not_none(session.scalar(select(Inner).where(Inner.bowler_id == 1)))
    measured = [first, *(copy_inner(session, first) for _ in range(3))]
    for inner in measured:
        inner_heights.keep_brought(session, int(who), inner, IN_THOUSANDTHS, "measured elsewhere")
    session.flush()
    made = card_issues.issue(session, 1, IssueForm.read({"who": who, "hand": "right"}))
    session.flush()
    card = open_card(made.data).card
    assert (len(card.inners), {inner.heights_in for inner in card.inners}) == (4, {()})
    assert card_issues.offer(session, session.get_one(Bowler, 1), "right").is_current


@pytest.mark.parametrize(
    "heights",
    [
        (F(1, 3), F(1, 3), F(8), F(8)),  # outside what the form takes
        (F(0), F(0), F(0), F(0)),
        (F(11, 4), F(5, 2), F(11, 4), F(5, 2)),  # a saddle: opposite heights of one cut have equal sums
    ],
)
def test_heights_that_no_clean_cut_has_are_told_and_not_kept(
    session: Session, who: str, heights: tuple[Fraction, ...]
) -> None:
    """As the form of a loose inner refuses them; the inner itself is taken."""
    taken = take(session, who, open_made(inners=(replace(INNER, heights_in=heights), SECOND_INNER)))
    assert inner_heights.find_heights(session, taken.made["inner"]) == {}
    line = session.scalars(select(Change).where(Change.field == "rim above its seat")).one()
    assert line.noun_id == taken.made["inner"][0]
