"""Axis points: which counts, a point on the other hand's side, and that nothing is deleted."""

import random
from datetime import date
from fractions import Fraction

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.errors import ConflictError, InvalidError
from app.models import AxisPoint, Bowler
from app.schemas.layouts import AxisPointForm
from app.schemas.taken_back import TakingBackForm
from app.services import axis_points, bowlers, changes, layout_choices
from tests.conftest import not_none
from tests.services.test_partings import merge

POINT = {"hand": "right", "point": "4 1/2 over 1/2 up", "found_by": "tape"}


def add(session: Session, who: str, bowler_id: int = 1, **typed: str) -> AxisPoint:
    form = AxisPointForm.read({"who": who} | POINT | typed)
    made = axis_points.add(session, bowlers.get_bowler(session, bowler_id), form)
    session.flush()
    return made


def test_a_point_is_exact_and_keeps_its_text(session: Session, who: str) -> None:
    made = add(session, who, point="4,5 right over 3/8 down", track="unknown", found_on="2026-03-01")
    assert (made.over_in, made.up_in, made.track_in) == (Fraction(9, 2), Fraction(-3, 8), None)
    assert made.typed == {"point": "4,5 right over 3/8 down", "track": "unknown"}
    assert made.found_on == date(2026, 3, 1)
    line = changes.list_record_lines(session, made)[0]
    assert (line.noun, line.new) == ("axis_point", "right hand: 4,5 right over 3/8 down")


def test_one_found_on_an_unknown_day_counts_as_the_oldest_whenever_it_was_written_down(
    session: Session, who: str
) -> None:
    dated = add(session, who, found_on="2020-01-01")
    undated = add(session, who, point="5 over 0 up")
    later = add(session, who, point="4 over 0 up")
    assert axis_points.find_current(session, 1, "right") is dated
    of = layout_choices.load(session, 1)
    assert (of.find_point(), [point.id for point in of.points]) == (dated, [dated.id, later.id, undated.id])
    axis_points.take_back(session, dated.id, TakingBackForm.read({"who": who, "why": "mistyped"}))
    assert axis_points.find_current(session, 1, "right") is later


@pytest.mark.parametrize(("hand", "side"), [("right", "left"), ("left", "right")])
def test_a_point_on_the_other_hands_side_is_a_question_at_its_field(session: Session, hand: str, side: str) -> None:
    with pytest.raises(InvalidError) as asked:
        AxisPointForm.read({"who": "1"} | POINT | {"hand": hand, "point": f"4 1/2 {side} over 1/4 down"})
    assert asked.value.fields["point"].choices == (f"4 1/2 {hand} over 1/4 down",)


def test_a_point_named_on_its_own_side_is_read(who: str) -> None:
    form = AxisPointForm.read({"who": who} | POINT | {"hand": "left", "point": "4 1/2 left over 1/4 down"})
    assert (form.point.given.over_in, form.point.given.up_in) == (Fraction(9, 2), Fraction(-1, 4))


def test_the_one_found_last_counts_whenever_it_was_written_down(session: Session, who: str) -> None:
    newer = add(session, who, found_on="2026-05-01")
    add(session, who, found_on="2025-05-01", point="5 over 0 up")
    other = add(session, who, hand="left", point="4 over 0 up")
    assert axis_points.find_current(session, 1, "right") is newer
    assert axis_points.find_current(session, 1, "left") is other
    axis_points.take_back(session, newer.id, TakingBackForm.read({"who": who, "why": "of a borrowed ball"}))
    assert not_none(axis_points.find_current(session, 1, "right")).over_in == 5
    assert newer.taken_back_reason == "of a borrowed ball"
    assert len(axis_points.list_of_bowler(session, 1)) == 3
    with pytest.raises(ConflictError):
        axis_points.take_back(session, newer.id, TakingBackForm.read({"who": who, "why": "again"}))


def test_points_of_a_merged_record_are_found(session: Session, who: str) -> None:
    made = add(session, who, bowler_id=4)
    merge(session, bowlers.get_bowler(session, 1), bowlers.get_bowler(session, 4), random.Random(7))
    kept = bowlers.get_bowler(session, 4)
    assert axis_points.find_current(session, kept.id, "right") is made
    assert session.scalars(select(Bowler.merged_into_id).where(Bowler.id.in_([1, 4]))).all().count(kept.id) == 1


@pytest.mark.parametrize(
    ("typed", "field"),
    [({"track": "0"}, "track"), ({"track": "13 1/2"}, "track"), ({"track": "14"}, "track"), ({"point": "0 over 1/2 up"}, "point")],
)  # fmt: skip
def test_a_track_that_is_no_arc_and_a_point_on_the_centre_line_are_asked(
    who: str, typed: dict[str, str], field: str
) -> None:
    with pytest.raises(InvalidError) as asked:
        AxisPointForm.read({"who": who} | POINT | typed)
    assert list(asked.value.fields) == [field]
