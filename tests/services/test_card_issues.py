"""Cards are issued with the next revision when something changed, and read back from what was kept."""

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.cards.envelope import open_card
from app.errors import ConflictError, InvalidError
from app.models import Bowler, Change, Inner, IssuedCard
from app.schemas.cards import IssueForm, ReplacementForm
from app.services import card_issues, paper_checks, shop_keys, shops
from tests.conftest import not_none
from tests.services.cards import copy_inner
from tests.services.test_paper_checks import OTHER, say, type_one


def issue(session: Session, who: str, **typed: str) -> IssuedCard:
    made = card_issues.issue(session, 1, IssueForm.read({"who": who, "hand": "right"} | typed))
    session.flush()
    return made


def test_an_issued_card_is_signed_by_our_key_and_noted(session: Session, who: str) -> None:
    card = issue(session, who)
    opened = open_card(card.data)
    ours = shops.require_our_shop(session)
    assert opened.public_key == not_none(shop_keys.find_key(session, ours)).public_key
    assert (opened.card.series, opened.card.revision, opened.digest) == (card.series, 1, card.digest)
    line = not_none(session.scalar(select(Change).where(Change.noun == "issued_card")))
    assert (line.staff_id, line.bowler_id) == (int(who), 1)


def test_the_next_revision_comes_only_when_something_changed(session: Session, who: str) -> None:
    first = issue(session, who)
    with pytest.raises(ConflictError):
        issue(session, who)
    bowler = session.get_one(Bowler, 1)
    assert card_issues.offer(session, bowler, "right").is_current
    not_none(session.scalar(select(Inner).where(Inner.bowler_id == 1))).label = "renamed"
    session.flush()
    assert not card_issues.offer(session, bowler, "right").is_current
    second = issue(session, who)
    assert (second.series, second.revision) == (first.series, 2)


def test_a_card_signed_by_a_replaced_key_is_issued_anew(session: Session, who: str) -> None:
    first = issue(session, who)
    ours = shops.require_our_shop(session)
    old = not_none(shop_keys.find_key(session, ours))
    shop_keys.replace(session, ours, ReplacementForm.read({"who": who, "version": old.version, "why": "lost"}))
    session.flush()
    second = issue(session, who)
    assert open_card(second.data).public_key != open_card(first.data).public_key


def test_an_inner_may_be_left_out_and_nothing_makes_no_card(session: Session, who: str) -> None:
    inner_id = not_none(session.scalar(select(Inner.id).where(Inner.bowler_id == 1)))
    whole = open_card(issue(session, who).data).card
    less = open_card(issue(session, who, **{f"leave_out-{inner_id}": "true"}).data).card
    assert len(less.inners) == len(whole.inners) - 1
    with pytest.raises(InvalidError):
        issue(session, who, hand="left")


def test_what_was_left_out_stays_left_out_until_somebody_puts_it_on(session: Session, who: str) -> None:
    """Two inners: a card without the first is current; a third inner changes the records; the first may come on."""
    first = not_none(session.scalar(select(Inner).where(Inner.bowler_id == 1)))
    second = copy_inner(session, first)
    without = issue(session, who, **{f"leave_out-{first.id}": "true"})
    bowler = session.get_one(Bowler, 1)
    offered = card_issues.offer(session, bowler, "right")
    assert (offered.is_current, offered.left_out) == (True, (first.id,))
    first.label = "left out and renamed"
    session.flush()
    assert card_issues.offer(session, bowler, "right").is_current
    second.label = "renamed"
    session.flush()
    assert not card_issues.offer(session, bowler, "right").is_current
    whole = issue(session, who)
    labels = {inner.label for inner in open_card(whole.data).card.inners}
    assert (whole.revision, {first.label, second.label} <= labels) == (without.revision + 1, True)
    assert card_issues.offer(session, bowler, "right").left_out == ()


@pytest.mark.both
def test_a_fit_typed_from_a_card_is_issued_only_once_compared_or_knowingly(session: Session, who: str) -> None:
    _, _, fit = type_one(session, who)
    assert (fit.state, fit.hand) == ("in force", "right")
    typed = {"who": who, "hand": "right"}
    with pytest.raises(InvalidError) as asked:
        card_issues.issue(session, fit.bowler_id, IssueForm.read(typed))
    assert set(asked.value.fields) == {"is_unverified_known"}
    knowingly = IssueForm.read(typed | {"is_unverified_known": "true"})
    assert card_issues.issue(session, fit.bowler_id, knowingly).fit_id == fit.id


def test_a_fit_found_wrong_is_never_issued_and_one_found_right_always(session: Session, who: str) -> None:
    _, card, fit = type_one(session, who)
    typed = {"who": who, "hand": "right"}
    paper_checks.check(session, card, say(card, OTHER, "wrong", "the thumb is 61/64"))
    session.flush()
    with pytest.raises(ConflictError, match="found it wrong: the thumb is 61/64"):
        card_issues.issue(session, fit.bowler_id, IssueForm.read(typed | {"is_unverified_known": "true"}))
    paper_checks.check(session, card, say(card, OTHER, "right"))
    session.flush()
    assert card_issues.issue(session, fit.bowler_id, IssueForm.read(typed)).fit_id == fit.id
