"""Stacks of cards: who has which in hand, and how they are written."""

from datetime import timedelta

import pytest
from sqlalchemy import update
from sqlalchemy.orm import Session

from app.errors import ConflictError, InvalidError
from app.models import CardStack, PaperCard, SheetHabit, now
from app.schemas.paper_stacks import LeavingOutForm, StackForm
from app.services import paper_stacks
from app.sheets.paper_lines import USUAL_ORDER

pytestmark = pytest.mark.both
ONE, OTHER = 1, 2


def begin(session: Session, who: str, **more: str) -> CardStack:
    return paper_stacks.add_stack(session, StackForm.read({"who": who, "name": "Drawer A"} | more))


def test_two_people_never_get_the_same_card(session: Session, who: str) -> None:
    stack = begin(session, who)
    first, second = (paper_stacks.take_next(session, person, stack) for person in (ONE, OTHER))
    assert (first.number, second.number) == (1, 2)
    assert paper_stacks.take_next(session, ONE, stack).number == 1  # who goes away and comes back has it still
    with pytest.raises(ConflictError, match="in hand"):
        paper_stacks.require_waiting(paper_stacks.get_card(session, stack.id, 1), OTHER)


def test_a_card_left_lying_is_given_to_the_next_after_some_minutes(session: Session, who: str) -> None:
    stack = begin(session, who)
    paper_stacks.take_next(session, ONE, stack)
    session.execute(update(PaperCard).values(held_until=now() - timedelta(seconds=1)))
    assert paper_stacks.take_next(session, OTHER, stack).number == 1


def test_pictures_come_in_their_order_before_new_cards(session: Session, who: str) -> None:
    stack = begin(session, who)
    for picture in (b"first", b"second"):
        paper_stacks.add_card(session, ONE, stack, picture)
    taken = [paper_stacks.take_next(session, person, stack) for person in (ONE, OTHER)]
    assert [(card.number, card.has_picture) for card in taken] == [(1, True), (2, True)]


def test_ways_begin_as_those_of_the_stack_before_or_of_a_saved_sheet(session: Session, who: str) -> None:
    first = begin(session, who)
    assert first.ways == {"line_order": USUAL_ORDER, "first_finger": "middle"}
    paper_stacks.change_way(session, ONE, first, "span_edges")
    assert begin(session, who).ways["span_edges"] == first.ways["span_edges"]
    session.add(
        SheetHabit(name="ours", columns={}, conventions={"seen_from": "inside", "date_order": "day"}, staff_id=1)
    )
    session.flush()
    named = begin(session, who, habit="ours").ways
    assert (named["seen_from"], "date_order" in named, "span_edges" in named) == ("inside", False, False)
    with pytest.raises(InvalidError):
        begin(session, who, habit="nobody's")
    with pytest.raises(InvalidError):
        paper_stacks.change_way(session, ONE, first, "colour")


def test_a_card_left_out_keeps_why_and_loses_its_picture(session: Session, who: str) -> None:
    stack = begin(session, who)
    card = paper_stacks.add_card(session, ONE, stack, b"a picture")
    paper_stacks.leave_out(session, card, LeavingOutForm.read({"who": ONE, "why": "a copy"}))
    session.flush()
    assert (card.state, card.word, card.picture, card.has_picture) == ("left out", "a copy", b"", False)
    assert paper_stacks.count_states(session, stack.id) == {
        "waiting": 0, "typed": 0, "right": 0, "wrong": 0, "left out": 1,
    }  # fmt: skip
