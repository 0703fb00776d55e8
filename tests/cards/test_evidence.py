from dataclasses import replace
from datetime import date
from fractions import Fraction
from itertools import permutations

from app.cards.evidence import evidence_id, keep_latest
from tests.cards.made import DEPTH


def test_an_estimate_counts_once_in_whichever_order_its_cards_come() -> None:
    older = replace(DEPTH, as_of=date(2026, 1, 5), n=2, balls=2, mean_in=Fraction(277, 100))
    taken_back = replace(DEPTH, as_of=date(2026, 4, 1), n=4, mean_in=Fraction(274, 100))
    same_day = replace(taken_back, n=3, balls=3)
    other = replace(DEPTH, evidence=bytes(8))
    for told in permutations([older, DEPTH, DEPTH, taken_back, same_day, other]):
        assert keep_latest(told) == {DEPTH.evidence: taken_back, bytes(8): other}


def test_two_that_differ_in_nothing_but_a_number_have_one_outcome() -> None:
    pair = DEPTH, replace(DEPTH, mean_in=Fraction(275, 100))
    assert keep_latest(pair) == keep_latest(reversed(pair))


def test_evidence_has_one_name_for_each_installation_shop_and_hardware() -> None:
    names = [evidence_id(*one) for one in ((b"a", "1", "2"), (b"b", "1", "2"), (b"a", "2", "1"), (b"a", "12", ""))]
    assert len(set(names)) == 4 and {len(name) for name in names} == {8}
    assert evidence_id(b"a", "1", "2") == names[0]
