"""The rows of a route's form: in their order, with what was typed, after an arrow."""

from app.services import route_rows
from app.services.routes import ACTIONS

OWN = [("mark", ACTIONS["mark"].words), ("bore", "Bore it"), ("measure", ACTIONS["measure"].words)]


def test_a_saved_route_comes_first_and_what_it_leaves_out_after_it() -> None:
    rows = route_rows.list_rows(OWN)
    assert [(row.action, row.place, row.words) for row in rows[:3]] == [
        ("mark", 10, ""),
        ("bore", 20, "Bore it"),
        ("measure", 30, ""),
    ]
    assert [row.is_kept for row in rows] == [True] * 3 + [False] * (len(ACTIONS) - 3)
    assert {row.action for row in rows} == set(ACTIONS)


def test_what_was_typed_stands_in_the_order_of_its_places() -> None:
    typed = {"keep-bore": "1", "place-bore": "5", "words-bore": "Bore it", "place-mark": "7", "place-glue": "soon"}
    first, second, *rest = route_rows.list_typed(typed)
    assert (first.action, first.is_kept, first.words) == ("bore", True, "Bore it")
    assert (second.action, second.is_kept) == ("mark", False)
    assert [row.place for row in rest] == [10 * number for number in range(3, len(ACTIONS) + 1)]


def test_an_arrow_moves_one_step_one_place_and_none_beyond_the_ends() -> None:
    rows = route_rows.list_rows(OWN)
    moved = route_rows.move(rows, "up-measure")
    assert [(row.action, row.place) for row in moved[:3]] == [("mark", 10), ("measure", 20), ("bore", 30)]
    assert route_rows.move(moved, "down-measure") == rows
    for asked in ("up-mark", f"down-{rows[-1].action}", "up-nothing", "nonsense"):
        assert route_rows.move(rows, asked) == rows
