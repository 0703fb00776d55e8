"""Owners of words: lists and flags answer the same, in the order that was asked."""

import random
from array import array

from app.services.word_owners import Narrowed, Owners, contains, make_flags


def test_those_picked_by_a_word_are_its_owners_among_them_in_order() -> None:
    among = Narrowed([9, 3, 5, 7])
    few, many = array("I", [2, 5, 9]), array("I", range(1, 8))
    assert among.pick(few, 4) == [5, 9]
    assert among.pick(many, 4) == [3, 5, 7]
    assert among.pick(many, 2) == [3, 5]
    assert among.pick(array("I", [4]), 4) == []


def test_owners_are_found_among_ids_below_and_above_all_of_a_list() -> None:
    owners = Owners([array("I", range(100, 200)), array("I", [1, 5_000])])
    assert owners.among([5_000, 1, 99, 100, 199, 200, 9_000]) == [5_000, 1, 100, 199]
    assert owners.among([99]) == owners.among([]) == []


def test_owners_with_flags_are_the_same_and_ids_beyond_the_flags_are_looked_for_in_the_list() -> None:
    ids, other = array("I", [2, 4, 6, 20]), array("I", [3, 4])
    flags = bytearray(10)
    for i in (2, 4, 6):
        flags[i] = 1
    one, two = Owners([ids], [flags]), Owners([ids, other], [flags, bytearray()])
    assert one.among([6, 5, 4, 9]) == [6, 4]
    assert one.among([20, 6, 5]) == [20, 6]  # 20 came after the flags were made
    assert two.among([6, 5, 4, 3]) == [6, 4, 3]
    assert two.among([20, 3, 6, 5]) == [20, 3, 6]
    assert Owners([other]).shared_with([one], 3) == [4]
    assert one.shared_with([Owners([array("I", range(30))])], 3) == [2, 4, 6]


def test_lists_and_flags_answer_as_python_s_own_sets_do() -> None:
    """Sets of the standard library are the outside check."""
    chance = random.Random(5)
    for _ in range(200):
        lists = [array("I", sorted(chance.sample(range(1, 400), chance.randrange(1, 120)))) for _ in range(3)]
        flags = [make_flags(ids) if chance.random() < 0.5 else bytearray() for ids in lists]
        asked = chance.sample(range(1, 11_000), 50) + chance.sample(range(1, 400), 50)
        union = set().union(*lists)
        assert Owners(lists, flags).among(asked) == [i for i in asked if i in union]
        first, rest = Owners(lists[:1], flags[:1]), Owners(lists[1:], flags[1:])
        assert first.shared_with([rest], 400) == [i for i in lists[0] if i in set(lists[1]) | set(lists[2])]
        assert [i for i in range(401) if contains(i, lists[0])] == list(lists[0])
