"""What was said of a typed card, and a typed card whole, taken back."""

from collections.abc import Callable

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.access import COUNTER, Actor
from app.errors import ConflictError, NotAllowedError
from app.models import Bowler, Change, PaperCard
from app.schemas.fits import RevisionForm
from app.schemas.taken_back import TakingBackForm
from app.services import fits, paper_checks, paper_stacks, paper_undoing, taken_back
from tests.conftest import not_none
from tests.services.test_paper_checks import OTHER, TYPIST, say, type_one

pytestmark = pytest.mark.both


def take_back(session: Session, card: PaperCard, act: Callable[..., None], who: int = TYPIST) -> None:
    act(session, card, TakingBackForm.read({"who": who, "version": card.version, "why": "another card"}))
    session.flush()


def test_a_verdict_taken_back_waits_for_a_second_look_again(session: Session, who: str) -> None:
    stack, card, fit = type_one(session, who)
    for verdict, word in (("right", ""), ("wrong", "the thumb")):
        paper_checks.check(session, card, say(card, OTHER, verdict, word))
        take_back(session, card, paper_undoing.take_verdict_back, OTHER)
        assert (card.state, card.word, card.checked_by_id) == ("typed", "", None)
        assert paper_checks.find_doubt(session, fit) is card
        assert not_none(paper_checks.find_next(session, stack.id, OTHER)).id == card.id
    why = select(Change.why).where(Change.noun == "paper_card", Change.field == "state", Change.new == "typed")
    assert session.scalars(why).all() == ["another card"] * 2
    with pytest.raises(ConflictError):
        take_back(session, card, paper_undoing.take_verdict_back, OTHER)


def test_only_who_did_it_or_a_driller_takes_it_back(session: Session, who: str) -> None:
    _, card, _ = type_one(session, who)
    paper_checks.check(session, card, say(card, OTHER, "right"))
    session.info["actor"] = Actor(3, 1, COUNTER)
    for act in (paper_undoing.take_verdict_back, paper_undoing.take_card_back):
        with pytest.raises(NotAllowedError):
            take_back(session, card, act, 3)
    assert card.state == "right"


def test_a_card_taken_back_waits_with_its_lines_and_picture_and_what_it_made_goes(session: Session, who: str) -> None:
    stack, card, fit = type_one(session, who)
    take_back(session, card, paper_undoing.take_card_back)
    bowler = session.get_one(Bowler, card.bowler_id)
    assert (fit.state, fit.discarded_reason, bowler.removed_reason) == ("discarded", "another card", "another card")
    assert bowler.removed_at is not None
    assert (card.state, card.fit_id, card.lines["name"], card.word) == (
        "waiting", fit.id, "Ulla Perrin, r", "Taken back: another card",
    )  # fmt: skip
    assert paper_stacks.take_next(session, OTHER, stack).id == card.id
    with pytest.raises(ConflictError):
        take_back(session, card, paper_undoing.take_card_back)


def test_a_card_whose_fit_was_used_since_stays_with_its_doubt(session: Session, who: str) -> None:
    _, card, fit = type_one(session, who)
    fits.revise(session, fit.id, RevisionForm.read({"who": TYPIST, "reason": "longer"}))
    paper_checks.check(session, card, say(card, OTHER, "wrong", "the thumb"))
    with pytest.raises(ConflictError, match="Fit A has 1 revision"):
        take_back(session, card, paper_undoing.take_card_back)
    assert (fit.state, session.get_one(Bowler, card.bowler_id).removed_at) == ("in force", None)
    assert (card.state, card.fit_id, card.word) == ("wrong", fit.id, "the thumb")
    assert paper_checks.find_doubt(session, fit) is card


def test_a_discarded_fit_that_is_restored_is_doubted_again(session: Session, who: str) -> None:
    _, card, fit = type_one(session, who)
    take_back(session, card, paper_undoing.take_card_back)
    form = TakingBackForm.read({"who": TYPIST, "version": fit.version, "why": "it was right"})
    restored = taken_back.restore_fit(session, fit.id, form)
    assert (restored.state, paper_checks.find_doubt(session, restored)) == ("draft", card)
    assert paper_checks.describe_doubt(card).endswith("taken back")


def test_a_card_without_a_fit_keeps_its_picture(session: Session, who: str) -> None:
    _, card, _ = type_one(session, who)
    card.fit_id, card.picture, card.has_picture = None, b"dots", True
    session.flush()
    take_back(session, card, paper_undoing.take_card_back)
    assert (card.picture, card.has_picture) == (b"dots", True)
