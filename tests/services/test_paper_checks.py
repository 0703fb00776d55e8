"""The second look at typed cards, and what is said of a fit until then."""

import pytest
from sqlalchemy.orm import Session

from app.errors import ConflictError, InvalidError
from app.models import CardStack, Fit, PaperCard
from app.schemas.fits import FitForm, InForceForm, RevisionForm
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


def edit(session: Session, fit: Fit, **typed: str) -> None:
    """Saves a draft by its form, with the numbers of the card but for these."""
    session.flush()
    form = {
        "who": OTHER, "version": fit.version, "hand": fit.hand, "style": fit.style, "reason": fit.reason,
        "span_edges": fit.span_edges, "bridge_edges": fit.bridge_edges, "grip_holes": fit.grip_holes,
    }  # fmt: skip
    fits.edit(session, fit.id, FitForm.read({**fit.typed, **form, **typed}))
    session.flush()


def find_wrong(session: Session, card: PaperCard) -> None:
    paper_checks.check(session, card, say(card, OTHER, "wrong", "the thumb is 61/64"))
    session.flush()


def test_a_draft_changed_since_it_was_found_wrong_waits_for_a_second_look_again(session: Session, who: str) -> None:
    stack, card, fit = type_one(session, who)
    fit.state = "draft"
    find_wrong(session, card)
    edit(session, fit, reason="only another reason")
    assert card.state == "wrong"
    edit(session, fit, thumb_hole="61/64")
    assert (card.state, card.word, card.checked_by_id, paper_checks.find_doubt(session, fit)) == (
        "typed",
        "",
        None,
        card,
    )
    assert not_none(paper_checks.find_next(session, stack.id, OTHER)).id == card.id


def test_a_revision_saved_since_is_somebodys_own_and_a_mere_copy_is_not(session: Session, who: str) -> None:
    _, card, fit = type_one(session, who)
    find_wrong(session, card)
    copied = fits.revise(session, fit.id, RevisionForm.read({"who": OTHER, "reason": "as the card says"}))
    session.flush()
    assert paper_checks.find_doubt(session, copied) is card
    edit(session, copied, thumb_hole="61/64")
    fits.put_in_force(session, copied.id, InForceForm.read({"who": OTHER, "version": copied.version}))
    session.flush()
    assert (copied.state, paper_checks.find_doubt(session, copied)) == ("in force", None)
    assert paper_checks.find_doubt(session, fit) is card
    again = fits.revise(session, copied.id, RevisionForm.read({"who": OTHER, "reason": "as it was"}))
    assert paper_checks.find_doubt(session, again) is None


def test_a_revision_that_is_older_than_the_verdict_is_still_found_wrong(session: Session, who: str) -> None:
    _, card, fit = type_one(session, who)
    revised = fits.revise(session, fit.id, RevisionForm.read({"who": OTHER, "reason": "shorter"}))
    edit(session, revised, thumb_hole="63/64")
    find_wrong(session, card)
    assert paper_checks.find_doubt(session, revised) is card


def test_an_older_version_of_a_card_is_not_judged(session: Session, who: str) -> None:
    _, card, _ = type_one(session, who)
    late = say(card, OTHER, "right")
    card.version += 1
    with pytest.raises(ConflictError):
        paper_checks.check(session, card, late)
