"""Marks of a ball: each saving is a row, the newest counts, and what contradicts itself is asked about."""

from datetime import timedelta
from fractions import Fraction

import pytest
from sqlalchemy.orm import Session

from app.errors import ConflictError, InvalidError
from app.models import BallMarks, now
from app.schemas.layouts import BallMarksForm
from app.services import ball_marks, balls, changes, drillings, taken_back

MARKS = {
    "label_weight": "15 lb", "real_weight": "15 lb 1 1/2 oz", "top_weight": "3 1/4", "has_mass_mark": "yes",
    "pin_mark": "6 3/4", "pin_centre": "2 1/2", "mark_centre": "unknown", "doubt": "1/16",
}  # fmt: skip


def save(session: Session, who: str, version: int = 0, **typed: str) -> BallMarks:
    form = BallMarksForm.read({"who": who, "version": str(version)} | MARKS | typed)
    made = ball_marks.add(session, balls.get_ball(session, 1), form)
    session.flush()
    return made


def test_marks_are_exact_ounces_and_inches_and_keep_their_texts(session: Session, who: str) -> None:
    made = save(session, who)
    weights = (made.label_weight_oz, made.real_weight_oz, made.top_weight_oz)
    assert weights == (Fraction(240), Fraction(483, 2), Fraction(13, 4))
    assert (made.pin_mark_in, made.pin_centre_in, made.mark_centre_in) == (Fraction(27, 4), Fraction(5, 2), None)
    assert made.typed == {name: text for name, text in MARKS.items() if name != "has_mass_mark"}
    assert changes.list_record_lines(session, made)[0].noun == "ball_marks"


def test_each_saving_is_a_row_and_the_newest_counts(session: Session, who: str) -> None:
    first = save(session, who)
    second = save(session, who, first.id, top_weight="3", has_mass_mark="unknown")
    assert ball_marks.find_newest(session, 1) is second
    assert [row.top_weight_oz for row in ball_marks.list_of_ball(session, 1)] == [3, Fraction(13, 4)]
    assert second.has_mass_mark is None
    with pytest.raises(ConflictError):
        save(session, who, first.id)
    assert ball_marks.list_texts(second)["has_mass_mark"] == "unknown"


def test_a_top_weight_without_any_mark_is_asked_about(who: str) -> None:
    with pytest.raises(InvalidError) as asked:
        BallMarksForm.read({"who": who} | MARKS | {"pin_centre": "", "mark_centre": ""})
    assert list(asked.value.fields) == ["pin_centre"]
    assert BallMarksForm.read({"who": who} | MARKS | {"pin_centre": "unknown", "mark_centre": ""}).top_weight.value


def test_arcs_to_a_mass_mark_that_is_not_there_are_asked_about(who: str) -> None:
    with pytest.raises(InvalidError) as asked:
        BallMarksForm.read({"who": who} | MARKS | {"has_mass_mark": "no"})
    assert list(asked.value.fields) == ["has_mass_mark"]


def test_a_ball_whose_marks_were_read_was_no_mistake(session: Session, who: str) -> None:
    before = taken_back.list_ball_obstacles(session, 1)
    save(session, who)
    assert set(taken_back.list_ball_obstacles(session, 1)) - set(before) == {"1 reading of its marks"}


def test_the_side_of_the_centre_of_gravity_is_kept_and_unknown_is_nobody_saw(session: Session, who: str) -> None:
    told = save(session, who, centre_side="left")
    assert (told.centre_side, ball_marks.list_texts(told)["centre_side"]) == ("left", "left")
    unseen = save(session, who, told.id)
    assert (unseen.centre_side, ball_marks.list_texts(unseen)["centre_side"]) == (None, "unknown")


def test_arcs_that_contradict_each_other_beyond_their_doubt_are_refused_at_the_one_furthest_off(
    session: Session, who: str
) -> None:
    # source: the triangle inequality: two sides of 2 1/2 do not reach over one of 6 3/4
    with pytest.raises(InvalidError) as refused:
        save(session, who, pin_mark="6 3/4", pin_centre="2 1/2", mark_centre="2 1/2", doubt="1/16")
    assert set(refused.value.fields) <= {"pin_mark", "pin_centre", "mark_centre"}
    assert ball_marks.find_newest(session, 1) is None
    save(session, who, pin_mark="6 3/4", pin_centre="2 1/2", mark_centre="4 1/4", doubt="1/16")


@pytest.mark.parametrize("pounds", ["15", "29/2", "63/4"])
def test_the_weight_of_the_ball_need_not_be_typed_again(session: Session, who: str, pounds: str) -> None:
    ball = balls.get_ball(session, 1)
    ball.weight_lb = Fraction(pounds)
    made = save(session, who, label_weight=ball_marks.list_known(ball)["label_weight"])
    assert made.label_weight_oz == 16 * Fraction(pounds)
    ball.weight_lb = None
    assert ball_marks.list_known(ball) == {}


def test_marks_read_after_a_drilling_was_closed_do_not_change_it(session: Session, who: str) -> None:
    drilling = drillings.get_drilling(session, 1)
    drilling.closed_at = now()
    late = save(session, who)
    assert ball_marks.find_of(session, drilling) is late  # nobody had read any
    late.made_at = drilling.closed_at - timedelta(days=1)
    later = save(session, who, late.id, top_weight="2")
    assert ball_marks.find_of(session, drilling) is late
    drilling.closed_at = None
    assert ball_marks.find_of(session, drilling) is later
