"""What a card would bring is told in the words of both, with namesakes, shops and hardware proposed and never merged."""

from dataclasses import replace
from fractions import Fraction

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.models import Bowler, Inner, InsertSystem, Shop
from app.schemas.cards import IssueForm
from app.schemas.shops import ShopForm
from app.services import card_contents, card_issues, card_previews, card_reading, shops
from tests.cards.made import THUMB_HARDWARE
from tests.conftest import not_none
from tests.services.cards import open_made, open_twin, take

F = Fraction


def test_a_twins_card_says_the_same_and_its_inner_is_known(session: Session, who: str) -> None:
    told = card_reading.tell(session, int(who), open_twin(session, 1))
    session.flush()
    found = card_previews.preview(session, told, 1)
    assert {line.kind for line in found.fit} == {"same"}
    assert found.is_fit_same
    assert found.known_inners == [True]
    assert found.namesakes[0].bowler.id == 1
    assert found.systems[told.opened.card.inners[0].hardware] == session.scalar(
        select(Inner.system_id).where(Inner.bowler_id == 1)
    )


def test_what_differs_stands_in_the_words_of_both(session: Session, who: str) -> None:
    opened = open_twin(session, 1)
    fit = not_none(opened.card.fit)
    changed = open_twin(session, 1, fit=replace(fit, middle_span_in=not_none(fit.middle_span_in) + F(1, 64)))
    found = card_previews.preview(session, card_reading.tell(session, int(who), changed), 1)
    (line,) = [line for line in found.fit if line.kind != "same"]
    assert (line.label, line.kind) == ("span to middle", "differs")
    assert line.theirs.startswith("4 1/64 ")
    assert line.ours.startswith("4 to")


def test_to_a_new_bowler_all_is_new_and_the_shop_is_found_by_its_key(session: Session, who: str) -> None:
    opened = open_made()
    first = card_previews.preview(session, card_reading.tell(session, int(who), opened))
    assert {line.kind for line in first.fit} == {"new"}
    assert first.shops == [None]
    taken = take(session, who, opened)
    shop = not_none(session.scalar(select(Shop).where(Shop.name == "Harbour Lane")))
    shop.name = "Harbour Lane, the old one"
    session.commit()
    again = card_previews.preview(session, card_reading.tell(session, int(who), open_made(revision=9)))
    assert again.shops == [shop.id]
    assert not_none(session.get(Bowler, taken.bowler_id)).name in {row.bowler.name for row in again.namesakes}


def test_a_namesake_of_our_shop_is_not_proposed_as_ours(session: Session, who: str) -> None:
    ours = not_none(session.scalar(select(Shop).where(Shop.is_ours)))
    told = card_reading.tell(session, int(who), open_twin(session, 1, shop=ours.name))
    found = card_previews.preview(session, told, 1)
    assert (found.shops[0], found.asked_shops) == (None, [0])


def test_a_shop_without_a_key_is_proposed_by_its_name_and_two_alike_are_asked(session: Session, who: str) -> None:
    told = card_reading.tell(session, int(who), open_made())
    assert card_previews.preview(session, told).asked_shops == []
    shop = shops.add_shop(session, ShopForm.read({"who": who, "name": "HARBOUR lane"}))
    session.flush()
    found = card_previews.preview(session, told)
    assert (found.shops, found.asked_shops) == ([shop.id], [])
    shops.add_shop(session, ShopForm.read({"who": who, "name": "Harbour  L\u0430ne"}))
    session.flush()
    found = card_previews.preview(session, told)
    assert (found.shops, found.asked_shops) == ([None], [0])


def test_a_card_of_our_own_under_an_old_name_is_of_the_shop_that_signed_it(session: Session, who: str) -> None:
    issued = card_issues.issue(session, 1, IssueForm.read({"who": who, "hand": "right"}))
    ours = not_none(session.get(Shop, issued.shop_id))
    ours.name = "The one at the mill"
    session.flush()
    told = card_reading.tell(session, int(who), card_reading.open_any(issued.data, ""))
    assert card_previews.preview(session, told, 1).shops[0] == ours.id


def test_hardware_is_proposed_only_where_all_that_is_known_of_both_agrees(session: Session) -> None:
    own = not_none(session.scalar(select(InsertSystem).where(InsertSystem.height_set_by == "bore_floor")))
    told = card_contents.tell_hardware(own)
    assert card_previews.find_system(session, told) == own.id
    assert card_previews.find_system(session, replace(told, inner_length_in=None)) == own.id
    for other in (
        replace(told, bore_in=not_none(told.bore_in) + F(1, 64)),
        replace(told, locks="anticlockwise" if told.locks == "clockwise" else "clockwise"),
        replace(told, height_set_by="ball_surface"),
        replace(told, bore_in=None),
        replace(told, notch_deg=not_none(told.notch_deg) + 90),
        replace(told, wide_tab_deg=not_none(told.wide_tab_deg) + 90),
    ):
        assert card_previews.list_differences(own, other)
        assert card_previews.find_system(session, other) != own.id
    turned = replace(told, notch_deg=not_none(told.notch_deg) + 90, wide_tab_deg=not_none(told.wide_tab_deg) + 90)
    labels = card_previews.list_choices(
        session, open_made(hardware=(turned,), bores=(), inners=(), fit=None, depths=()).card
    )
    assert f"{own.label} (other notch, wide tab)" in dict(labels[0]).values()
    assert "lock_depth_in" in card_previews.list_differences(own, THUMB_HARDWARE)
