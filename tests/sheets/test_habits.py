"""What nearly every row does: the share that makes a habit, and the other side that is offered."""

from collections import Counter

import pytest

from app.sheets.cells import Cell
from app.sheets.habits import Habits, ask_about_habits
from app.sheets.parts import ask
from app.sheets.readings import Draft


@pytest.mark.parametrize(("others", "usual"), [(5, "away"), (6, "")])
def test_a_side_is_usual_from_nineteen_of_twenty_rows_on(others: int, usual: str) -> None:
    assert Habits(Counter(away=95, under=others)).usual_side == usual


@pytest.mark.parametrize(
    ("text", "other"),
    [("1/4 reverse, 1/8 under", "1/4 reverse, 1/8 away"), ("1/4 reverse, 1/8 left", "1/4 reverse, 1/8 right")],
)
def test_the_other_side_of_an_unusual_thumb_is_offered(text: str, other: str) -> None:
    draft = Draft({}, bowler={"hand": "left"}, fit={"thumb_pitch": text})
    ask_about_habits(draft, Habits(Counter(away=40)))
    assert draft.questions["thumb_pitch"].choices == (text, other)


def test_eight_choices_of_ten_are_shown() -> None:
    assert ask(Cell("?", "text"), "Which?", *"abcdefghij").choices == tuple("abcdefgh")
