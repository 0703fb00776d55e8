"""The second look at typed cards, and what is said of a fit until then."""

import pytest
from sqlalchemy.orm import Session

from app.errors import ConflictError, InvalidError
from app.models import CardStack, Fit, PaperCard
from app.schemas.fits import RevisionForm
from app.schemas.paper_stacks import CardForm, SecondLookForm
from app.services import fits, paper_checks, paper_entries, paper_stacks
from tests.conftest import not_none
from tests.services.test_paper_stacks import begin
from tests.sheets.test_paper_lines import CARD, HOUSE

pytestmark = pytest.mark.both
TYPIST, OTHER = 1, 2


def type_one(session: Session, who: str) -> tuple[CardStack, PaperCard, Fit]:
    stack = begin(session, who)
    stack.ways = dict(HOUSE)
    card = paper_stacks.take_next(session, TYPIST, stack)
    lines = {f"line_{name}": text for name, text in (CARD | {"name": "Ulla Perrin, r"}).items()}
    assert not paper_entries.save(session, stack, card, CardForm.read({"who": TYPIST} | lines)).is_asked
    session.flush()
    whole = paper_stacks.get_card(session, stack.id, card.number)
    return stack, whole, not_none(session.get(Fit, card.fit_id))


def say(card: PaperCard, who: int, verdict: str, word: str = "") -> SecondLookForm:
    return SecondLookForm.read({"who": who, "version": card.version, "verdict": verdict, "word": word})


def test_who_typed_it_is_no_second_person(session: Session, who: str) -> None:
    stack, card, _ = type_one(session, who)
    assert paper_checks.find_next(session, stack.id, TYPIST) is None
    with pytest.raises(InvalidError, match="You typed this card"):
        paper_checks.check(session, card, say(card, TYPIST, "right"))
    assert not_none(paper_checks.find_next(session, stack.id, OTHER)).id == card.id


def test_a_fit_is_doubted_until_another_person_finds_it_right(session: Session, who: str) -> None:
    _, card, fit = type_one(session, who)
    assert paper_checks.find_doubt(session, fit) is card
    paper_checks.check(session, card, say(card, OTHER, "right"))
    session.flush()
    assert (card.state, card.checked_by_id, paper_checks.find_doubt(session, fit)) == ("right", OTHER, None)
    with pytest.raises(ConflictError):
        paper_checks.check(session, card, say(card, OTHER, "right"))


def test_what_is_found_wrong_is_said_with_the_word_and_may_be_looked_at_again(session: Session, who: str) -> None:
    _, card, fit = type_one(session, who)
    with pytest.raises(InvalidError):
        say(card, OTHER, "wrong")
    paper_checks.check(session, card, say(card, OTHER, "wrong", "the thumb is 61/64"))
    session.flush()
    session.refresh(card, ["checked_by"])
    assert paper_checks.describe_doubt(not_none(paper_checks.find_doubt(session, fit))).endswith(
        "found it wrong: the thumb is 61/64"
    )
    paper_checks.check(session, card, say(card, OTHER, "right"))
    assert card.state == "right"


def test_a_revision_of_a_doubted_fit_is_doubted(session: Session, who: str) -> None:
    _, card, fit = type_one(session, who)
    revised = fits.revise(session, fit.id, RevisionForm.read({"who": TYPIST, "reason": "longer"}))
    assert paper_checks.find_doubt(session, revised) is card


def test_an_older_version_of_a_card_is_not_judged(session: Session, who: str) -> None:
    _, card, _ = type_one(session, who)
    late = say(card, OTHER, "right")
    card.version += 1
    with pytest.raises(ConflictError):
        paper_checks.check(session, card, late)
