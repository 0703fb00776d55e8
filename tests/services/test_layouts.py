"""Layouts of a ball and favourites: what each was chosen from, and that dropped ones are kept."""

from fractions import Fraction

import pytest
from sqlalchemy.orm import Session

from app.errors import ConflictError, InvalidError
from app.models import Layout
from app.schemas.layouts import FavouriteForm, LayoutForm
from app.schemas.taken_back import TakingBackForm
from app.services import axis_points, balls, bowlers, drillings, layouts
from tests.services import test_axis_points, test_ball_marks

NUMBERS = {"pin_axis": "4", "axis_line": "35°", "drilling": "40 1/2"}


def add(session: Session, who: str, axis_point_id: int, **typed: str) -> Layout:
    form = LayoutForm.read({"who": who, "axis_point_id": str(axis_point_id)} | NUMBERS | typed)
    made = layouts.add(session, balls.get_ball(session, 1), form)
    session.flush()
    return made


def test_a_layout_keeps_its_numbers_point_and_marks(session: Session, who: str) -> None:
    point = test_axis_points.add(session, who)
    marks = test_ball_marks.save(session, who)
    made = add(session, who, point.id)
    assert (made.pin_axis_in, made.axis_line_deg, made.drilling_deg) == (Fraction(4), Fraction(35), Fraction(81, 2))
    assert (made.axis_point_id, made.ball_marks_id, made.hand, made.typed) == (point.id, marks.id, "right", NUMBERS)
    test_ball_marks.save(session, who, marks.id, top_weight="2")
    assert made.ball_marks_id == marks.id
    assert layouts.describe(made) == "4 in, 35°, 40 1/2°"


def test_which_point_was_used_for_which_drilling(session: Session, who: str) -> None:
    point = test_axis_points.add(session, who)
    made = add(session, who, point.id)
    layouts.use_in(session, int(who), made.id, 1)
    session.flush()
    assert [of.drilling_id for of in axis_points.list_uses(session, [point])[point.id]] == [1]
    assert layouts.find_of(session, drillings.get_drilling(session, 1)) is made
    with pytest.raises(ConflictError):
        layouts.use_in(session, int(who), made.id, 2)
    with pytest.raises(InvalidError):
        add(session, who, point.id, drilling_id="2")  # of another ball


def test_a_point_of_another_bowler_or_taken_back_is_refused(session: Session, who: str) -> None:
    other = test_axis_points.add(session, who, bowler_id=2)
    own = test_axis_points.add(session, who)
    axis_points.take_back(session, own.id, TakingBackForm.read({"who": who, "why": "mistyped"}))
    for point in (other, own):
        with pytest.raises(InvalidError) as refused:
            add(session, who, point.id)
        assert list(refused.value.fields) == ["axis_point_id"]


def test_favourites_are_of_one_hand_and_leave_the_list_without_being_deleted(session: Session, who: str) -> None:
    anna = bowlers.get_bowler(session, 1)
    for hand, label in (("right", "Smooth"), ("left", "Smooth"), ("right", "Angular")):
        form = FavouriteForm.read({"who": who, "hand": hand, "label": label} | NUMBERS)
        layouts.add_favourite(session, anna, form)
    session.flush()
    right = layouts.list_favourites(session, 1, "right")
    assert [of.label for of in right] == ["Angular", "Smooth"]
    with pytest.raises(InvalidError):
        layouts.add_favourite(
            session, anna, FavouriteForm.read({"who": who, "hand": "left", "label": "Smooth"} | NUMBERS)
        )
    layouts.remove_favourite(session, int(who), right[0].id)
    session.flush()
    assert [of.label for of in layouts.list_favourites(session, 1)] == ["Smooth", "Smooth"]
    with pytest.raises(ConflictError):
        layouts.remove_favourite(session, int(who), right[0].id)


@pytest.mark.parametrize("state", ["planned", "drilled", "closed"])
def test_only_the_layout_that_a_drilling_was_made_on_counts_for_it(session: Session, who: str, state: str) -> None:
    right, left = test_axis_points.add(session, who), test_axis_points.add(session, who, hand="left")
    drilling = drillings.get_drilling(session, 1)  # of the right hand
    drilling.state = state
    later = add(session, who, right.id)
    add(session, who, left.id)
    found = layouts.find_of(session, drilling)
    assert found is (later if state == "planned" else None)
    with pytest.raises(InvalidError) as refused:
        add(session, who, left.id, drilling_id="1")
    assert list(refused.value.fields) == ["drilling_id"]
    said = add(session, who, right.id, drilling_id="1", pin_axis="3")
    assert layouts.find_of(session, drilling) is said
