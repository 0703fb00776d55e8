"""Every angle of a card, however deep in it, is turned to 0 up to 360, and nothing else changes."""

import random
from dataclasses import replace
from fractions import Fraction

from app.cards.angles import turn_angles
from tests.cards.made import BORE, INNER, THUMB_HARDWARE, make_card, make_fit, make_random
from tests.conftest import not_none

F = Fraction


def test_angles_of_each_part_are_turned() -> None:
    fit = replace(make_fit(), thumb=replace(not_none(make_fit().thumb), oval_deg=F(-45)))
    card = make_card(
        fit=fit,
        hardware=(replace(THUMB_HARDWARE, notch_deg=F(360), wide_tab_deg=F(-181, 2)),),
        bores=(replace(BORE, notch_deg=F(-30)),),
        inners=(replace(INNER, oval_deg=F(-360)),),
    )
    found = turn_angles(card)
    assert not_none(not_none(found.fit).thumb).oval_deg == 315
    assert (found.hardware[0].notch_deg, found.hardware[0].wide_tab_deg) == (F(0), F(539, 2))
    assert (found.bores[0].notch_deg, found.inners[0].oval_deg) == (F(330), F(0))
    assert turn_angles(make_card()) == make_card()


def test_turned_twice_is_turned_once_and_lengths_stay() -> None:
    pick = random.Random(3)
    for _ in range(50):
        card = make_random(pick)
        turned = turn_angles(card)
        assert turn_angles(turned) == turned
        assert [bore.bore_in for bore in turned.bores] == [bore.bore_in for bore in card.bores]
        assert all(0 <= (one.notch_deg or 0) < 360 for one in turned.hardware)
