"""Which of a bowler's words matches which typed one, at what distance, and why in words."""

from app.services.matches import Pair, match_one
from app.services.questions import Question

OWN = {"anna": "name", "berg": "name", "trios": "league", "holm": "former", "#4711": "phone"}


def test_each_word_of_the_bowler_is_used_once_and_the_nearest_counts() -> None:
    found = match_one(7, OWN, Question(["ann", "berk"], []), ["ann", "berk"], [{}, {"berg": 1.1, "anna": 1.2}])
    assert found is not None
    assert found.pairs == (Pair("ann", "anna", "name", 0.1), Pair("berk", "berg", "name", 1.1))
    assert (found.bowler_id, found.distance, found.unsaid) == (7, 1.2000000000000002, 0)
    assert found.words == {"anna": "ann", "berg": "berk"}
    assert found.reason == "one letter off"
    assert match_one(7, {"anna": "name"}, Question(["anna", "anna"], []), ["anna", "anna"], [{}, {}]) is None


def test_a_league_comes_after_a_name_and_is_told() -> None:
    found = match_one(7, OWN, Question(["trios"], []), ["trios"], [{}])
    assert found is not None
    assert (found.distance, found.reason, found.unsaid) == (0.01, "league trios", 2)
    both = {"trios": "league", "triose": "name"}
    nearer = match_one(7, both, Question(["trios"], []), ["trios"], [{}])
    assert nearer is not None and nearer.pairs[0].word == "trios"


def test_a_former_name_and_a_number_are_told() -> None:
    found = match_one(7, OWN, Question(["holm"], ["4711"]), ["holm"], [{}])
    assert found is not None
    assert found.reason == "also recorded as holm, phone 4711"
    assert match_one(7, OWN, Question(["holm"], ["12"]), ["holm"], [{}]) is None
    assert match_one(7, OWN, Question(["zeno"], []), ["zeno"], [{}]) is None
